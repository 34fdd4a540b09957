/**
 * Durable ingest, stored and committed before each acknowledgement, against what an integrator has without it: core mqtt in
 * (QoS 1, parsed JSON) -> function -> sink, which stores nothing. Same Node-RED, same broker, same messages, in turns.
 * Each round drains a queue that Mosquitto kept for a persistent session; far longer queues measure how Mosquitto keeps them.
 */
import { setTimeout as sleep } from 'node:timers/promises';
import { connectAsync, type MqttClient } from 'mqtt';
import { type Broker, mosquitto } from '../kit/broker';
import { type FlowNode, nodeRed, type Rig } from '../kit/node-red';
import { type BenchRow, report } from './report';

const COUNT = Number(process.env.PHASELOOM_BENCH_MESSAGES ?? 8000);
const ROUNDS = Number(process.env.PHASELOOM_BENCH_ROUNDS ?? 5);

const PATIENCE_MS = 60_000;

let seen = 0;
let lastAt = 0;
let lastCpuUs = 0;
const cpuUs = () => process.cpuUsage().user + process.cpuUsage().system;
function count(n: number): void {
  seen += n;
  if (seen < COUNT) return;
  lastAt = performance.now();
  lastCpuUs = cpuUs();
}

/** A compiled sink: the cheapest node there can be. */
function registerSink(): void {
  // biome-ignore lint/suspicious/noExplicitAny: the embedded runtime's API is used beyond its published types
  const RED: any = require('node-red');
  // biome-ignore lint/suspicious/noExplicitAny: a node
  RED.nodes.registerType('bench/sink', 'bench-sink', function (this: any, config: object) {
    RED.nodes.createNode(this, config);
    this.on('input', (msg: { payload: unknown }, _send: unknown, done: () => void) => {
      count(Array.isArray(msg.payload) ? msg.payload.length : 1);
      done();
    });
  });
}

let fileNumber = 0;
let serial = 0;
const message = () =>
  JSON.stringify({
    kind: 'reading',
    terminal: `hollin-bank/F3/S${serial % 997}/${(serial % 3) + 1}`,
    takenAt: new Date(Date.UTC(2026, 4, 4) + 20 * serial++).toISOString(),
    angleDeg: -118.4,
    against: 'utc',
    sigmaDeg: 1.5,
    voltageV: 14_390,
    frequencyHz: 59.983,
    clock: { source: 'gnss', errorUs: 1.2, locked: true },
    instrument: { id: 'P-07', selfTest: 'pass', batteryPct: 82 },
  });

type Version = '4' | '5';
type Make = (port: number, version: Version) => FlowNode[];
interface Contest {
  readonly name: string;
  readonly make: Make;
  readonly clientId: string;
  readonly version: Version;
}

const brokerNode = (port: number, protocolVersion: string): FlowNode => ({
  id: 'broker',
  type: 'mqtt-broker',
  broker: '127.0.0.1',
  port: String(port),
  protocolVersion,
  keepalive: '60',
  clientid: 'core',
  cleansession: false,
  autoConnect: true,
  autoUnsubscribe: false,
  sessionExpiry: '3600',
});
const sink: FlowNode = { id: 'sink', type: 'bench-sink', wires: [] };

const durable =
  (output: 'single' | 'batches'): Make =>
  (port, version) => [
    brokerNode(port, version),
    // A new file each time: what an earlier run left unsent would be sent again and counted here.
    { id: 'ledger', type: 'phaseloom-ledger', file: `bench-${fileNumber++}.sqlite` },
    {
      id: 'in',
      type: 'phaseloom-readings-in',
      broker: 'broker',
      ledger: 'ledger',
      topics: ['bench/#'],
      clientId: 'ours',
      output,
      wires: [['sink'], []],
    },
    sink,
  ];
const core: Make = (port, version) => [
  brokerNode(port, version),
  {
    id: 'core-in',
    type: 'mqtt in',
    broker: 'broker',
    topic: 'bench/#',
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
    func: "if (typeof msg.payload.terminal !== 'string') return null;\nreturn msg;",
    outputs: 1,
    wires: [['sink']],
  },
  sink,
];

/** A session that the broker is to keep, or to forget. */
async function session(url: string, clientId: string, version: Version, isKept: boolean): Promise<void> {
  const properties = version === '5' && isKept ? { properties: { sessionExpiryInterval: 3600 } } : {};
  const protocolVersion = version === '5' ? 5 : 4;
  const client = await connectAsync(url, { clientId, clean: !isKept, protocolVersion, ...properties });
  if (isKept) await client.subscribeAsync('bench/#', { qos: 1 });
  await client.endAsync();
}

interface Score {
  /** messages a second, from the deployment of the flow to the last message in the sink */
  readonly perS: number;
  /** processor time of the Node-RED process a message: holds on a busy machine too */
  readonly cpuUs: number;
}

/** A session is opened and left, filled by others, and then drained against the clock. */
async function drain(
  rig: Rig,
  publisher: MqttClient,
  url: string,
  { make, clientId, version }: Contest,
): Promise<Score> {
  await session(url, clientId, version, true);
  await Promise.all(Array.from({ length: COUNT }, () => publisher.publishAsync('bench/P-07', message(), { qos: 1 })));
  seen = 0;
  global.gc?.();
  const [beganAt, beganCpuUs] = [performance.now(), cpuUs()];
  await rig.deploy(make(Number(new URL(url).port), version));
  for (const deadline = performance.now() + PATIENCE_MS; seen < COUNT; await sleep(5)) {
    if (performance.now() > deadline) throw new Error(`${clientId}: ${seen} of ${COUNT} after ${PATIENCE_MS} ms`);
  }
  const score = { perS: COUNT / ((lastAt - beganAt) / 1000), cpuUs: (lastCpuUs - beganCpuUs) / COUNT };
  await sleep(500);
  if (clientId === 'ours') {
    const { readings } = await (await rig.node('ledger').ready()).health();
    if (readings !== COUNT) throw new Error(`${readings} readings are in the ledger, ${COUNT} were published`);
  }
  await rig.deploy([]);
  await session(url, clientId, version, false);
  return score;
}

const median = (values: number[]) => [...values].sort((a, b) => a - b)[values.length >> 1]!;

async function main(): Promise<void> {
  const broker: Broker = await mosquitto();
  const rig = await nodeRed();
  registerSink();
  const publisher = await connectAsync(broker.url);
  const scores = new Map<string, Score[]>();
  const contests: Contest[] = (['5', '4'] as const).flatMap((version) => [
    { name: 'durable', make: durable('single'), clientId: 'ours', version },
    { name: 'batches', make: durable('batches'), clientId: 'ours', version },
    { name: 'core', make: core, clientId: 'core', version },
  ]);
  for (let round = 0; round < ROUNDS; round++) {
    for (const contest of contests) {
      const key = `${contest.name} ${contest.version}`;
      scores.set(key, [...(scores.get(key) ?? []), await drain(rig, publisher, broker.url, contest)]);
    }
  }
  report(
    'ingest',
    contests.filter(({ name }) => name !== 'core').flatMap((contest) => rows(contest, scores)),
  );
  await rig.deploy([]);
  publisher.end(true);
  await rig.stop();
  await broker.stop();
  process.exit(0);
}

function rows({ name, version }: Contest, scores: ReadonlyMap<string, readonly Score[]>): BenchRow[] {
  const of = (who: string, what: keyof Score) => median(scores.get(`${who} ${version}`)!.map((score) => score[what]));
  const how = `${name === 'batches' ? 'batches' : 'one message each'}, MQTT ${version === '5' ? '5' : '3.1.1'}`;
  const peer = 'core mqtt in -> function -> sink';
  const [perS, corePerS, us, coreUs] = [of(name, 'perS'), of('core', 'perS'), of(name, 'cpuUs'), of('core', 'cpuUs')];
  return [
    {
      what: `stored, acknowledged, sent as ${how}`,
      value: perS,
      unit: '/s',
      peer: { what: peer, value: corePerS },
      ratio: perS / corePerS,
      aim: '>= 1x',
    },
    {
      what: `  processor time, ${how}`,
      value: us,
      unit: 'us',
      peer: { what: peer, value: coreUs },
      ratio: coreUs / us,
    },
  ];
}

void main();
