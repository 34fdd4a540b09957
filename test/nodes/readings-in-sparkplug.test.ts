/** Sparkplug B, with payloads encoded by the package sparkplug-payload of the Eclipse Tahu project. */
import Module from 'node:module';
import { expect } from 'chai';
import fc from 'fast-check';
import { connectAsync, type MqttClient } from 'mqtt';
import { get } from 'sparkplug-payload';
import { SparkplugHost } from '../../lib/sparkplug';
import { problemsOf } from '../../lib/validate';
import type { Arrival, Taken } from '../../nodes/readings-in/arrival';
import type { IntakeRules } from '../../nodes/readings-in/intake';
import { SparkplugDoor } from '../../nodes/readings-in/sparkplug';
import { type Broker, mosquitto } from '../kit/broker';
import { nodeRed, type Rig } from '../kit/node-red';

const codec = get('spBv1.0')!;
const NOW_MS = Date.UTC(2026, 4, 4, 10, 15, 30, 250);
const RULES: IntakeRules = { maxBytes: 65_536, futureToleranceS: 5 };

type Metric = { name?: string; alias?: number; type?: string; value: unknown; timestamp?: number };
const payload = (seq: number | undefined, metrics: readonly Metric[], timestamp = NOW_MS): Buffer =>
  Buffer.from(
    codec.encodePayload({
      timestamp,
      ...(seq === undefined ? {} : { seq }),
      metrics: metrics.map((m) => ({ type: typeOf(m.value), ...m })) as never,
    }),
  );
const typeOf = (value: unknown) =>
  typeof value === 'string' ? 'String' : typeof value === 'boolean' ? 'Boolean' : 'Double';

const BIRTH: Metric[] = [
  { name: 'bdSeq', type: 'UInt64', value: 3 },
  { name: 'Node Control/Rebirth', value: false },
];
const POLE: Metric[] = [
  { name: 'S118/2/against', value: 'utc' },
  { name: 'S118/2/clock/source', value: 'gnss' },
  { name: 'S118/2/clock/errorUs', alias: 12, value: 1.5 },
  { name: 'S118/2/clock/locked', value: true },
  { name: 'S118/2/instrument/id', value: 'P-07' },
  { name: 'S118/2/angleDeg', alias: 10, value: -118.4 },
  { name: 'S118/2/voltageV', alias: 11, value: 7200 },
];
const TAKEN: Metric[] = [{ name: 'S118/2/takenAt', value: '2026-05-04T10:15:30.250Z' }];
const T = { nodeBirth: 'spBv1.0/west/NBIRTH/E1', death: 'spBv1.0/west/NDEATH/E1', nodeData: 'spBv1.0/west/NDATA/E1' };
const D = {
  birth: 'spBv1.0/west/DBIRTH/E1/pole',
  data: 'spBv1.0/west/DDATA/E1/pole',
  death: 'spBv1.0/west/DDEATH/E1/pole',
};

function door() {
  const died: string[] = [];
  const published: string[] = [];
  const sparkplug = SparkplugDoor.open(undefined, {
    died: (s) => died.push(s),
    publish: (topic) => published.push(topic),
  });
  const take = (topic: string, bytes: Buffer) =>
    sparkplug.take({ topic, bytes, receivedAtUs: NOW_MS * 1000 + 1e6, retain: false }, RULES);
  const code = async (topic: string, bytes: Buffer) => (await take(topic, bytes)).rejection?.problems[0]?.code;
  const born = async (more: readonly Metric[] = []) => {
    await take(T.nodeBirth, payload(0, BIRTH));
    return take(D.birth, payload(1, [...POLE, ...more]));
  };
  return { sparkplug, died, published, take, code, born };
}

describe('readings in: Sparkplug B', () => {
  it('makes readings of births that say when and of data by alias, with what the birth said of the rest', async () => {
    const { born, take } = door();
    const [first] = (await born(TAKEN)).readings;
    expect(problemsOf('reading', first)).to.deep.equal([]);
    expect(first).to.deep.include({ terminal: 'S118/2', angleDeg: -118.4, voltageV: 7200, against: 'utc' });
    expect(first!.takenAt).to.equal('2026-05-04T10:15:30.250000Z');
    const { readings } = await take(D.data, payload(2, [{ alias: 10, value: -118.6, timestamp: NOW_MS + 500 }]));
    const { id: _, ...second } = readings[0]!;
    expect(second).to.deep.equal({
      kind: 'reading',
      terminal: 'S118/2',
      takenAt: '2026-05-04T10:15:30.750000Z',
      angleDeg: -118.6,
      against: 'utc',
      clock: { source: 'gnss', errorUs: 1.5, locked: true },
      instrument: { id: 'P-07' },
    });
    await take(D.data, payload(3, [{ alias: 12, value: 40 }]));
    const { readings: third } = await take(D.data, payload(4, [{ alias: 11, value: 7190 }]));
    expect([third[0]!.voltageV, third[0]!.angleDeg, third[0]!.clock!.errorUs]).to.deep.equal([7190, undefined, 40]);
  });

  it('takes what a birth repeats for known, not for measured now, unless it says when', async () => {
    const { born, take } = door();
    expect(await born()).to.deep.include({ readings: [], rejection: undefined });
    const { readings } = await take(D.data, payload(2, [{ alias: 11, value: 7190 }]));
    expect(readings.map((r) => [r.voltageV, r.angleDeg, r.against])).to.deep.equal([[7190, undefined, 'utc']]);
  });

  it('pairs only what has the same time', async () => {
    const { born, take } = door();
    await born();
    const at = (alias: number, value: number, ms: number) => ({ alias, value, timestamp: NOW_MS + ms });
    const history = [at(11, 7000, 0), at(10, 1, 100), at(11, 7100, 100), at(10, 2, 200)];
    const { readings } = await take(D.data, payload(2, history));
    expect(readings.map((r) => [r.takenAt.slice(20, 23), r.angleDeg, r.voltageV])).to.deep.equal([
      ['250', undefined, 7000],
      ['350', 1, 7100],
      ['450', 2, undefined],
    ]);
    const apart = [at(10, 3, 300), at(11, 7200, 301), { ...TAKEN[0]!, timestamp: NOW_MS + 302 }];
    const { readings: one } = await take(D.data, payload(3, apart));
    expect(one.map((r) => [r.takenAt.slice(20, 23), r.angleDeg, r.voltageV])).to.deep.equal([['250', 3, 7200]]);
  });

  it('forgets who was quiet longest when it holds too much, and asks for its birth again', () => {
    const host = new SparkplugHost(2000);
    const step = (type: 'NBIRTH' | 'NDATA', edge: string, seq: number, size = 1) =>
      host.take(
        { type, group: 'g', edge, device: undefined },
        { seq, metrics: [{ name: 'x', value: 'v'.repeat(size) }] },
      );
    for (const edge of ['a', 'b', 'c', 'd']) step('NBIRTH', edge, 0);
    expect(step('NDATA', 'a', 1).is).to.equal('values');
    expect(step('NDATA', 'c', 1, 1600)).to.have.property('is', 'values');
    expect(step('NDATA', 'b', 1)).to.have.nested.property('problem.code', 'birth-missing');
    expect(step('NDATA', 'a', 2).is).to.equal('values');
  });

  it('names the terminal after group, edge node and device where metrics do not', async () => {
    const { take } = door();
    await take(T.nodeBirth, payload(0, BIRTH));
    const { readings } = await take(T.nodeData, payload(1, [{ name: 'voltageV', value: 230 }]));
    expect(readings[0]!.terminal).to.equal('west/E1');
  });

  it('refuses data before a birth and after a gap, and asks for a birth once', async () => {
    const { code, take, published, born, sparkplug } = door();
    expect(await code(D.data, payload(5, []))).to.equal('birth-missing');
    expect(published).to.deep.equal(['spBv1.0/west/NCMD/E1']);
    await born();
    expect(await code(D.data, payload(3, [{ alias: 10, value: 1 }]))).to.equal('sequence-gap');
    expect(sparkplug.stale).to.equal(2);
    expect(await code(D.data, payload(4, [{ alias: 10, value: 1 }]))).to.equal('source-stale');
    expect(published).to.have.length(1);
    await born();
    expect((await take(D.data, payload(2, [{ alias: 10, value: 1 }]))).readings).to.have.length(1);
    expect(sparkplug.stale).to.equal(0);
  });

  it('counts sequence numbers from 255 on to 0 over node and devices together', async () => {
    const { born, take } = door();
    await born();
    for (let n = 2; n < 600; n++) {
      const [topic, metrics] = n % 3 === 0 ? [T.nodeData, []] : [D.data, [{ alias: 10, value: n % 180 }]];
      expect((await take(topic!, payload(n % 256, metrics as Metric[]))).rejection).to.equal(undefined);
    }
  });

  it('takes a source for stale when it dies; the will of a session before changes nothing', async () => {
    const { born, take, code, died, sparkplug } = door();
    await born();
    await take(T.death, payload(undefined, [{ name: 'bdSeq', type: 'UInt64', value: 2 }]));
    expect([died, sparkplug.stale]).to.deep.equal([[], 0]);
    await take(D.death, payload(2, []));
    expect(await code(D.data, payload(3, [{ alias: 10, value: 1 }]))).to.equal('source-stale');
    await take(D.birth, payload(4, POLE));
    await take(T.death, payload(undefined, [{ name: 'bdSeq', type: 'UInt64', value: 3 }]));
    expect([died, sparkplug.stale]).to.deep.equal([['west/E1/pole', 'west/E1'], 2]);
    expect(await code(D.data, payload(5, [{ alias: 10, value: 1 }]))).to.equal('source-stale');
  });

  it('refuses an alias that no birth named, and bytes that are no payload', async () => {
    const { born, code } = door();
    await born();
    expect(await code(D.data, payload(2, [{ alias: 99, value: 1 }]))).to.equal('alias-unknown');
    expect(await code(D.data, Buffer.from([1, 2, 3, 255, 255]))).to.equal('sparkplug-unreadable');
  });

  it('makes something of any bytes', () =>
    fc.assert(
      fc.asyncProperty(
        fc.uint8Array({ maxLength: 80 }),
        fc.constantFrom(...Object.values(T), ...Object.values(D)),
        async (bytes, topic) => {
          const { born, take } = door();
          await born();
          const { readings, rejection } = await take(topic, Buffer.from(bytes));
          for (const r of readings) expect(problemsOf('reading', r)).to.deep.equal([]);
          if (rejection) expect(problemsOf('rejection', rejection)).to.deep.equal([]);
        },
      ),
      { seed: 3, numRuns: 300 },
    ));

  it('says what to install where the package is missing', () => {
    const modules = Module as unknown as { _load: (name: string, ...more: unknown[]) => unknown };
    const load = modules._load;
    modules._load = function (name, ...more) {
      if (name === 'sparkplug-payload') throw new Error('Cannot find module');
      return load.call(this, name, ...more);
    };
    try {
      expect(() => door()).to.throw('npm install sparkplug-payload');
    } finally {
      modules._load = load;
    }
  });

  it('gives a mapping the topic in parts, the metrics with their names, and what is known', async () => {
    const seen: Record<string, unknown>[] = [];
    const mapping = async (arrival: Arrival): Promise<Taken> => {
      seen.push(JSON.parse(arrival.bytes.toString()));
      return { readings: [], texts: [], rejection: undefined };
    };
    const sparkplug = SparkplugDoor.open(mapping, { died: () => {}, publish: () => {} });
    const take = (topic: string, bytes: Buffer) =>
      sparkplug.take({ topic, bytes, receivedAtUs: NOW_MS * 1000, retain: false }, RULES);
    await take(T.nodeBirth, payload(0, BIRTH));
    await take(D.birth, payload(1, POLE));
    await take(D.data, payload(2, [{ alias: 10, value: 5 }]));
    const { known, metrics, ...rest } = seen[2]!;
    expect(rest).to.deep.equal({
      type: 'DDATA',
      group: 'west',
      edge: 'E1',
      device: 'pole',
      timestampMs: NOW_MS,
      seq: 2,
    });
    expect(metrics).to.deep.equal([{ alias: 10, name: 'S118/2/angleDeg', value: 5, timestampMs: NOW_MS }]);
    expect(known).to.deep.include({ 'S118/2/angleDeg': 5, 'S118/2/voltageV': 7200 });
  });

  it('takes what is not of Sparkplug as JSON, and passes over STATE', async () => {
    const { take } = door();
    const json = Buffer.from(JSON.stringify({ terminal: 'a/1', takenAt: '2026-05-04T10:15:30Z', voltageV: 1 }));
    expect((await take('readings/P-07', json)).readings).to.have.length(1);
    expect(await take('spBv1.0/STATE/host', Buffer.from('{"online":true}'))).to.deep.equal({
      readings: [],
      texts: [],
      rejection: undefined,
    });
  });
});

describe('readings in: Sparkplug B over Mosquitto, in Node-RED', function () {
  this.timeout(60_000);
  let broker: Broker;
  let rig: Rig;
  let edge: MqttClient;
  before(async () => {
    broker = await mosquitto();
    rig = await nodeRed();
    edge = await connectAsync(broker.url);
  });
  after(async () => {
    await rig.deploy([]);
    edge.end(true);
    await broker.stop();
  });

  it('stores readings, asks for a birth after a gap, and shows what is stale', async () => {
    await rig.deploy([
      {
        id: 'broker',
        type: 'mqtt-broker',
        broker: '127.0.0.1',
        port: broker.port,
        protocolVersion: '5',
        keepalive: 60,
      },
      { id: 'ledger', type: 'phaseloom-ledger', file: ':memory:' },
      {
        id: 'in',
        type: 'phaseloom-readings-in',
        broker: 'broker',
        ledger: 'ledger',
        topics: ['spBv1.0/west/#'],
        format: 'sparkplug',
        wires: [['good'], ['bad']],
      },
      rig.probe('good'),
      rig.probe('bad'),
    ]);
    const deadline = Date.now() + 20_000;
    const asked: string[] = [];
    edge.on('message', (topic, bytes) => {
      const [metric] = codec.decodePayload(bytes).metrics ?? [];
      asked.push(`${topic} ${metric?.name} ${metric?.value}`);
    });
    await edge.subscribeAsync('spBv1.0/west/NCMD/E1');
    while (rig.status('in')?.fill !== 'green' && Date.now() < deadline) await new Promise((r) => setTimeout(r, 20));
    await edge.publishAsync(T.nodeBirth, payload(0, BIRTH));
    await edge.publishAsync(D.birth, payload(1, [...POLE, ...TAKEN]));
    await edge.publishAsync(D.data, payload(2, [{ alias: 10, value: -118.7, timestamp: NOW_MS + 1000 }]));
    const good = (await rig.until('good', 2, 20_000)).map((m) => m.payload);
    expect(good.map((r) => [r.terminal, r.angleDeg])).to.deep.equal([
      ['S118/2', -118.4],
      ['S118/2', -118.7],
    ]);
    await edge.publishAsync(D.data, payload(9, [{ alias: 10, value: 0 }]));
    expect((await rig.until('bad', 1, 20_000))[0]!.payload.problems[0].code).to.equal('sequence-gap');
    while (asked.length === 0 && Date.now() < deadline) await new Promise((r) => setTimeout(r, 20));
    expect(asked).to.deep.equal(['spBv1.0/west/NCMD/E1 Node Control/Rebirth true']);
    expect(rig.node('in').counters().staleSources).to.equal(2);
  });
});
