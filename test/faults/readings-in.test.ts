import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { DatabaseSync } from 'node:sqlite';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from 'chai';
import { connectAsync } from 'mqtt';
import { formatInstant } from '../../lib/instant';
import { type Broker, mosquitto, wireTo } from '../kit/broker';
import { type ChildRed, childRed } from '../kit/child-red';
import { type FlowNode, nodeRed } from '../kit/node-red';
import { scaled, seeded, tell, until } from './scale';

const door = (port: number, over: Record<string, unknown> = {}): FlowNode[] => [
  { id: 'broker', type: 'mqtt-broker', broker: '127.0.0.1', port: String(port), protocolVersion: '5', keepalive: '60' },
  { id: 'ledger', type: 'phaseloom-ledger', file: 'fault.sqlite' },
  {
    id: 'in',
    type: 'phaseloom-readings-in',
    broker: 'broker',
    ledger: 'ledger',
    topics: ['fault/#'],
    settleS: 1,
    wires: [['out'], []],
    ...over,
  },
];

/** Publishes at QoS 1 and resolves when the broker has every one. */
async function publishAll(port: number, count: number, perSecond: number): Promise<void> {
  const client = await connectAsync(`mqtt://127.0.0.1:${port}`, {
    clientId: 'instrument',
    clean: false,
    reconnectPeriod: 100,
  });
  const acknowledged: Promise<unknown>[] = [];
  for (let i = 0; i < count; i++) {
    const reading = {
      terminal: `fault/${i}`,
      takenAt: formatInstant(Date.now() * 1000),
      angleDeg: (i % 360) - 180,
      against: 'utc',
    };
    acknowledged.push(client.publishAsync('fault/P-1', JSON.stringify(reading), { qos: 1 }));
    if (i % 20 === 19) await sleep(20_000 / perSecond);
  }
  await Promise.all(acknowledged);
  await client.endAsync();
}

function inLedger(file: string): { rows: number; terminals: number; ids: string[] } {
  if (!existsSync(file)) return { rows: 0, terminals: 0, ids: [] };
  const db = new DatabaseSync(file, { readOnly: true });
  try {
    const all = db.prepare('select id, terminal from reading').all() as { id: string; terminal: string }[];
    return { rows: all.length, terminals: new Set(all.map((r) => r.terminal)).size, ids: all.map((r) => r.id) };
  } finally {
    db.close();
  }
}

describe('readings in, under faults', function () {
  this.timeout(300_000);
  let broker: Broker;
  beforeEach(async () => {
    broker = await mosquitto();
  });
  afterEach(() => broker.stop());

  it('killed again and again in mid-stream: every reading is stored once, and every one is sent into the flow', async () => {
    const COUNT = scaled(1200, 12_000);
    const chance = seeded(20260504);
    const recorder: FlowNode = {
      id: 'out',
      type: 'function',
      outputs: 0,
      libs: [{ var: 'fs', module: 'fs' }],
      func: "fs.appendFileSync(env.get('PHASELOOM_SENT'), msg.payload.id + '\\n'); return null;",
      wires: [],
    };
    const red: ChildRed = await childRed([...door(broker.port), recorder]);
    const sent = join(red.userDir, 'sent.txt');
    const file = join(red.userDir, 'fault.sqlite');
    process.env.PHASELOOM_SENT = sent;
    try {
      await red.start();
      await red.logged('connected to the broker as');
      const published = publishAll(broker.port, COUNT, 250);
      for (let kill = 0; kill < 3; kill++) {
        await sleep(300 + 900 * chance());
        await red.kill();
        await red.start();
      }
      await published;
      const sentIds = () => new Set(existsSync(sent) ? readFileSync(sent, 'utf8').trim().split('\n') : []);
      await until(() => inLedger(file).terminals === COUNT && sentIds().size === COUNT, 20_000);
      const { rows, terminals, ids } = inLedger(file);
      tell('killed 3 times', {
        published: COUNT,
        arrived: terminals,
        duplicates: rows - terminals,
        sent: sentIds().size,
      });
      expect({ rows, terminals }).to.deep.equal({ rows: COUNT, terminals: COUNT });
      expect(ids.filter((id) => !sentIds().has(id))).to.deep.equal([]);
    } finally {
      await red.kill();
    }
  });

  it('with its connection cut in mid-stream: every reading is stored once and sent once', async () => {
    const COUNT = scaled(1500, 12_000);
    const chance = seeded(7);
    const rig = await nodeRed();
    const wire = await wireTo(broker.port);
    await rig.deploy([...door(wire.port), rig.probe('out')]);
    await until(() => rig.status('in')?.text?.startsWith('connected') === true, 10_000);
    const published = publishAll(broker.port, COUNT, 400);
    for (let cut = 0; cut < 5; cut++) {
      await sleep(200 + 500 * chance());
      wire.cut();
    }
    await published;
    await rig.until('out', COUNT, 30_000);
    await sleep(300);
    expect(new Set(rig.got('out').map((m) => m.payload.terminal)).size).to.equal(COUNT);
    expect(rig.got('out')).to.have.length(COUNT);
    expect(inLedger(join(rig.userDir, 'fault.sqlite')).rows).to.equal(COUNT);
    tell('cut 5 times', {
      published: COUNT,
      arrived: rig.got('out').length,
      duplicates: rig.node('in').counters().duplicates,
    });
    expect(rig.node('in').counters().connects).to.be.at.least(3);
    expect(rig.node('in').counters().sessionsLost).to.equal(0);
    await rig.deploy([]);
    await wire.stop();
  });

  it('with the broker restarted in mid-stream: every reading that it accepted is stored once', async () => {
    const COUNT = scaled(1000, 12_000);
    const rig = await nodeRed();
    await rig.deploy([...door(broker.port, { topics: ['fault/#'] }), rig.probe('out')]);
    await until(() => rig.status('in')?.text?.startsWith('connected') === true, 10_000);
    const before = inLedger(join(rig.userDir, 'fault.sqlite')).rows;
    const published = publishAll(broker.port, COUNT, 400);
    for (let restart = 0; restart < 2; restart++) {
      await sleep(600);
      await broker.halt();
      await sleep(100);
      await broker.start();
    }
    await published;
    await until(() => inLedger(join(rig.userDir, 'fault.sqlite')).rows - before >= COUNT, 30_000);
    await sleep(300);
    const { rows, terminals } = inLedger(join(rig.userDir, 'fault.sqlite'));
    tell('broker restarted 2 times', { published: COUNT, arrived: rows - before, duplicates: rows - before - COUNT });
    expect(rows - before, `${terminals} terminals`).to.equal(COUNT);
    expect(rig.node('in').counters().connects).to.be.at.least(2);
    expect(rig.node('in').counters().sessionsLost).to.equal(0);
    await rig.deploy([]);
  });
});
