import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { DatabaseSync } from 'node:sqlite';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from 'chai';
import { type Broker, mosquitto } from '../kit/broker';
import { type ChildRed, childRed } from '../kit/child-red';
import type { FlowNode } from '../kit/node-red';
import { type PostgresServer, startPostgres } from '../kit/postgres';
import { brokerNode, numbered, publishAll } from './feed';
import { type Receiver, receiver } from './receiver';
import { scaled, until } from './scale';

const COUNT = scaled(400, 4000);
const PER_SECOND = 100;
const AWAY_MS = scaled(5000, 20_000);

/** Readings in and, behind it, a handoff: neither may flood the log when the ledger or the other side is away. */
const flow = (port: number, url: string, ledger: object): FlowNode[] => [
  brokerNode(port),
  { id: 'ledger', type: 'phaseloom-ledger', ...ledger },
  {
    id: 'in',
    type: 'phaseloom-readings-in',
    broker: 'broker',
    ledger: 'ledger',
    topics: ['told/#'],
    settleS: 0,
    wires: [['off'], []],
  },
  {
    id: 'off',
    type: 'phaseloom-handoff',
    ledger: 'ledger',
    destination: 'outside',
    way: 'http',
    url,
    timeoutS: '0.5',
    longestPauseS: '1',
    wires: [[], []],
  },
];

interface Outage {
  readonly name: string;
  readonly began: RegExp;
  readonly ended: RegExp;
  readonly inPostgres?: boolean;
  begin(): Promise<() => unknown>;
}

describe('an outage is told in the log once', function () {
  this.timeout(120_000);
  let broker: Broker;
  let database: PostgresServer;
  let there: Receiver;
  let red: ChildRed;
  beforeEach(async () => {
    [broker, there] = await Promise.all([mosquitto(), receiver()]);
  });
  afterEach(async () => {
    await red?.kill();
    await there.down();
    await broker.stop();
  });
  before(async () => {
    database = await startPostgres();
  });
  after(() => database?.stop());

  const LEDGER_AWAY = /the ledger takes nothing: .+\. Readings wait/;
  const LEDGER_BACK = /the ledger takes readings again after (\d+) s; at most (\d+) messages waited/;
  const OUTAGES: readonly Outage[] = [
    {
      name: 'SQLite, another program holds the file',
      began: LEDGER_AWAY,
      ended: LEDGER_BACK,
      begin: async () => {
        const other = new DatabaseSync(join(red.userDir, 'told.sqlite'));
        other.exec('pragma busy_timeout = 5000; begin immediate');
        return () => {
          other.exec('rollback');
          other.close();
        };
      },
    },
    {
      name: 'PostgreSQL stopped',
      inPostgres: true,
      began: LEDGER_AWAY,
      ended: LEDGER_BACK,
      begin: async () => {
        await database.halt('fast');
        return () => database.start();
      },
    },
    {
      name: 'the receiver of a handoff down',
      began: /the other side takes nothing: .+\. Records wait/,
      ended: /the other side takes records again after (\d+) s; at most (\d+) waited/,
      begin: async () => {
        await there.down();
        return () => there.up();
      },
    },
  ];

  for (const { name, began, ended, inPostgres, begin } of OUTAGES) {
    it(`${name}: a line when it begins, a line with its figures when it is over`, async () => {
      red = await childRed(
        flow(broker.port, there.url, inPostgres ? { driver: 'postgres' } : { driver: 'sqlite', file: 'told.sqlite' }),
      );
      if (inPostgres) {
        const credentials = { ledger: { connection: database.connection } };
        writeFileSync(join(red.userDir, 'flows_cred.json'), JSON.stringify(credentials));
      }
      await red.start();
      await until(() => /connected to the broker as/.test(red.log()), 20_000);
      const readings = Array.from({ length: COUNT }, (_, n) => numbered('told', n));
      const published = publishAll(broker.port, 'told/P', readings, PER_SECOND);
      const delivered = () => new Set(there.processed.map(({ key }) => key)).size;
      await until(() => delivered() >= 20, 20_000);
      const before = red.log().length;
      const lines = () => red.log().slice(before).split('\n');
      const end = await begin();
      await sleep(AWAY_MS);
      const during = lines().filter((line) => began.test(line)).length;
      await end();
      await published;
      await until(() => delivered() >= COUNT, 60_000);
      await until(() => ended.test(red.log()), 15_000);
      await sleep(1000);
      const told = lines().filter((line) => line.trim() !== '');
      const last = told.filter((line) => ended.test(line));
      console.log(`      ${name}: published ${COUNT}, handed off ${delivered()}, ${told.length} lines in the log`);
      for (const line of told) console.log(`        ${line}`);
      expect(during, 'told while it lasted').to.equal(1);
      expect(
        told.filter((line) => began.test(line)),
        'when it began',
      ).to.have.length(1);
      expect(last, 'when it was over').to.have.length(1);
      const [, s, n] = ended.exec(last[0]!)!;
      expect(Number(s), 'seconds').to.be.at.least(Math.floor(AWAY_MS / 1000) - 2);
      expect(Number(n), 'waiting').to.be.within(10, COUNT);
      // Two more come from Node.js itself: the warning that notices of the database were lost, and how to trace it.
      expect(told.length, told.join('\n')).to.be.at.most(inPostgres ? 4 : 2);
      expect(delivered()).to.equal(COUNT);
    });
  }
});
