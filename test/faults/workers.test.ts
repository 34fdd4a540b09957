import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from 'chai';
import { type Broker, mosquitto } from '../kit/broker';
import { type ChildRed, childRed } from '../kit/child-red';
import type { FlowNode } from '../kit/node-red';
import { type PostgresServer, startPostgres } from '../kit/postgres';
import { brokerNode, numbered, publishAll } from './feed';
import { scaled, tell } from './scale';

const COUNT = scaled(900, 9000);

/** The broker shares the readings out among all that name the same group (MQTT 5, section 4.8.2). */
const worker = (port: number): FlowNode[] => [
  brokerNode(port),
  { id: 'ledger', type: 'phaseloom-ledger', driver: 'postgres' },
  {
    id: 'in',
    type: 'phaseloom-readings-in',
    broker: 'broker',
    ledger: 'ledger',
    topics: ['$share/workers/shared/#'],
    wires: [['end'], []],
  },
  { id: 'end', type: 'debug', active: false, wires: [] },
];

describe('two workers on one PostgreSQL ledger, one of them killed', function () {
  this.timeout(120_000);
  let database: PostgresServer;
  let broker: Broker;
  let workers: ChildRed[] = [];
  before(async () => {
    [database, broker] = await Promise.all([startPostgres(), mosquitto(['log_type all'])]);
    workers = await Promise.all([0, 1].map(() => childRed(worker(broker.port))));
    for (const { userDir } of workers) {
      const credentials = { ledger: { connection: database.connection } };
      writeFileSync(join(userDir, 'flows_cred.json'), JSON.stringify(credentials));
    }
    await Promise.all(workers.map((w) => w.start()));
  });
  after(async () => {
    await Promise.all(workers.map((w) => w.kill()));
    await broker?.stop();
    await database?.stop();
  });

  const stored = async () => {
    const [row] = await database.sql(
      "select count(*)::int as n, count(distinct terminal)::int as terminals from phaseloom.reading where terminal like 'shared/%'",
    );
    return row as { n: number; terminals: number };
  };
  /** As the broker's own log tells. */
  const subscribers = () => new Set(broker.log().match(/Sending SUBACK to \S+/g)).size;

  it('every reading is stored once: those in its hands when it is back, the others by the other', async () => {
    for (let i = 0; subscribers() < 2 && i < 200; i++) await sleep(50);
    expect(subscribers(), 'workers that subscribed').to.equal(2);
    const readings = Array.from({ length: COUNT }, (_, i) => numbered('shared', i));
    const published = publishAll(broker.port, 'shared/P-1', readings, 400);
    for (let i = 0; (await stored()).n < COUNT / 6 && i < 400; i++) await sleep(25);
    await workers[0]!.kill();
    const atKill = (await stored()).n;
    await published;
    await sleep(1500);
    const alone = (await stored()).n;
    await workers[0]!.start();
    for (let i = 0; (await stored()).n < COUNT && i < 200; i++) await sleep(100);
    const { n, terminals } = await stored();
    tell('two workers', {
      published: COUNT,
      'stored at the kill': atKill,
      'stored with one away': alone,
      arrived: terminals,
      duplicates: n - terminals,
    });
    expect(atKill).to.be.within(1, COUNT - 1);
    expect(alone).to.be.greaterThan(atKill);
    expect({ n, terminals }).to.deep.equal({ n: COUNT, terminals: COUNT });
  });
});
