import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { DatabaseSync } from 'node:sqlite';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from 'chai';
import mqtt from 'mqtt';
import { formatInstant } from '../../lib/instant';
import { type Broker, mosquitto } from '../kit/broker';
import { type ChildRed, childRed } from '../kit/child-red';
import type { FlowNode } from '../kit/node-red';
import { isFull, scaled, tell } from './scale';

const COUNT = scaled(1500, 12_000);
const PER_SECOND = 300;
/** Seconds that Node-RED lives before each kill: chosen once. */
const LIVES_S = isFull ? [4, 2.3, 7.1, 1.1, 5.9] : [1.3, 0.7, 1.9];

const broker = (port: number): FlowNode => ({
  id: 'broker',
  type: 'mqtt-broker',
  broker: '127.0.0.1',
  port: String(port),
  protocolVersion: '5',
  clientid: 'lossy-control',
  cleansession: false,
  sessionExpiry: '3600',
  autoConnect: true,
  keepalive: '60',
});

/** The pack's front door. */
const durable = (port: number): FlowNode[] => [
  broker(port),
  { id: 'ledger', type: 'phaseloom-ledger', file: 'kill.sqlite' },
  {
    id: 'in',
    type: 'phaseloom-readings-in',
    broker: 'broker',
    ledger: 'ledger',
    topics: ['kill/#'],
    wires: [['probe'], []],
  },
  { id: 'probe', type: 'debug', active: false, wires: [] },
];

/** What an integrator would write by hand: core mqtt in, and a function that writes what it gathered every half second. */
const byHand = (port: number): FlowNode[] => [
  broker(port),
  {
    id: 'in',
    type: 'mqtt in',
    broker: 'broker',
    topic: 'kill/#',
    qos: '1',
    datatype: 'json',
    inputs: 0,
    nl: false,
    rap: true,
    rh: 0,
    wires: [['f']],
  },
  {
    id: 'f',
    type: 'function',
    outputs: 0,
    libs: [{ var: 'fs', module: 'fs' }],
    initialize: `context.set('rows', []);
      context.set('timer', setInterval(() => {
        const rows = context.get('rows');
        context.set('rows', []);
        if (rows.length) fs.appendFileSync(env.get('LOSSY_FILE'), rows.join('\\n') + '\\n');
      }, 500));`,
    finalize: `clearInterval(context.get('timer'));`,
    func: `context.get('rows').push(msg.payload.terminal); return null;`,
    wires: [],
  },
];

async function publishAll(port: number): Promise<void> {
  const client = await mqtt.connectAsync(`mqtt://127.0.0.1:${port}`, { protocolVersion: 5 });
  const acknowledged: Promise<unknown>[] = [];
  for (let i = 0; i < COUNT; i++) {
    const reading = {
      terminal: `kill/${i}`,
      takenAt: formatInstant(Date.now() * 1000),
      angleDeg: (i % 360) - 180,
      against: 'utc',
    };
    acknowledged.push(client.publishAsync('kill/P-1', JSON.stringify(reading), { qos: 1 }));
    if (i % 30 === 29) await sleep((1000 * 30) / PER_SECOND);
  }
  await Promise.all(acknowledged);
  await client.endAsync();
}

const lines = (file: string): number =>
  existsSync(file) ? new Set(readFileSync(file, 'utf8').trim().split('\n')).size : 0;

const rows = (file: string): number => {
  if (!existsSync(file)) return 0;
  const db = new DatabaseSync(file, { readOnly: true });
  try {
    return (db.prepare('select count(distinct terminal) as n from reading').get() as { n: number }).n;
  } finally {
    db.close();
  }
};

/** `subscribed`: what the log says when messages are kept for us. */
async function killedInMidStream(
  red: ChildRed,
  port: number,
  subscribed: string,
  count: () => number,
): Promise<number> {
  await red.start();
  await red.logged(subscribed);
  await sleep(500);
  const published = publishAll(port);
  for (const life of LIVES_S) {
    await sleep(life * 1000);
    await red.kill();
    await red.start();
  }
  await published;
  for (let before = -1, now = count(); now !== before && now < COUNT; now = count()) {
    before = now;
    await sleep(2000);
  }
  return count();
}

describe('kill -9 of Node-RED in mid-stream', function () {
  this.timeout(300_000);
  let mqttBroker: Broker;
  let red: ChildRed;
  beforeEach(async () => {
    mqttBroker = await mosquitto();
  });
  afterEach(async () => {
    await red.kill();
    await mqttBroker.stop();
  });

  it(`readings in: of ${COUNT} published, ${COUNT} stand in the ledger, each once`, async () => {
    red = await childRed(durable(mqttBroker.port));
    const file = join(red.userDir, 'kill.sqlite');
    expect(await killedInMidStream(red, mqttBroker.port, 'connected to the broker as', () => rows(file))).to.equal(
      COUNT,
    );
    const db = new DatabaseSync(file, { readOnly: true });
    const { n } = db.prepare('select count(*) as n from reading').get() as { n: number };
    tell(`killed ${LIVES_S.length} times`, { published: COUNT, arrived: rows(file), duplicates: n - rows(file) });
    expect(n).to.equal(COUNT);
    expect({ ...(db.prepare('pragma integrity_check').get() as object) }).to.deep.equal({ integrity_check: 'ok' });
    db.close();
  });

  it('the lossy control, core mqtt in and a function that inserts in batches, shows that this test can see loss', async () => {
    red = await childRed(byHand(mqttBroker.port));
    const file = join(red.userDir, 'lossy.txt');
    process.env.LOSSY_FILE = file;
    const kept = await killedInMidStream(red, mqttBroker.port, 'Connected to broker', () => lines(file));
    tell('the lossy control', { published: COUNT, arrived: kept, duplicates: 0 });
    expect(kept, `${COUNT - kept} of ${COUNT} lost by the control`).to.be.within(1, COUNT - 1);
  });
});
