/**
 * Durable ingest, stored and committed before each acknowledgement, against what there is without it: bare mqtt.js that parses and
 * stores nothing; core mqtt in -> function -> sink, which stores nothing; core mqtt in -> function that inserts each message into SQLite
 * with a commit of its own. Same process, same broker, same messages, in turns. Each round drains a queue that Mosquitto kept for a
 * persistent session; the clock runs from the opening of the connection to the last message in the sink: what it costs to start
 * Node-RED's flow and the ledger is paid once a start. (A clock that runs from the first message in the sink flatters core: mqtt.js parses
 * all that has come before the first message leaves it.)
 */
import { subscribe } from 'node:diagnostics_channel';
import { setTimeout as sleep } from 'node:timers/promises';
import { connectAsync, type MqttClient } from 'mqtt';
import { mosquitto } from '../kit/broker';
import { nodeRed, type Rig } from '../kit/node-red';
import { bare, core, durable, inserting, type Start, sessionOptions, type Version } from './load/doors';
import { type BenchRow, report } from './report';

const COUNT = Number(process.env.PHASELOOM_BENCH_MESSAGES ?? 50_000);
const ROUNDS = Number(process.env.PHASELOOM_BENCH_ROUNDS ?? 5);
const PATIENCE_MS = 60_000;

interface Mark {
  readonly seen: number;
  readonly ms: number;
  readonly cpuUs: number;
}
let seen = 0;
let first: Mark | undefined;
let last: Mark | undefined;
function mark(): Mark {
  const { user, system } = process.cpuUsage();
  return { seen, ms: performance.now(), cpuUs: user + system };
}
function count(n: number): void {
  seen += n;
  if (seen >= COUNT) last ??= mark();
}

subscribe('net.client.socket', () => {
  first ??= mark();
});

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

interface Contest {
  readonly name: string;
  readonly start: Start;
  readonly clientId: 'ours' | 'core' | 'bare';
  readonly version: Version;
}

/** A session that the broker is to keep, or to forget. */
async function session(url: string, clientId: string, version: Version, isKept: boolean): Promise<void> {
  const kept = sessionOptions(clientId, version);
  const client = await connectAsync(url, isKept ? kept : { clientId, protocolVersion: kept.protocolVersion! });
  if (isKept) await client.subscribeAsync('bench/#', { qos: 1 });
  await client.endAsync();
}

interface Score {
  readonly perS: number;
  /** processor time of this process a message: holds on a busy machine too */
  readonly cpuUs: number;
}

/** A session is opened and left, filled by others, and then drained against the clock. */
async function drain(
  rig: Rig,
  publisher: MqttClient,
  url: string,
  { start, clientId, version }: Contest,
): Promise<Score> {
  await session(url, clientId, version, true);
  await Promise.all(Array.from({ length: COUNT }, () => publisher.publishAsync('bench/P-07', message(), { qos: 1 })));
  seen = 0;
  first = last = undefined;
  global.gc?.();
  const end = await start((flow) => rig.deploy(flow), url, version);
  for (const deadline = performance.now() + PATIENCE_MS; seen < COUNT; await sleep(5)) {
    if (performance.now() > deadline) throw new Error(`${clientId}: ${seen} of ${COUNT} after ${PATIENCE_MS} ms`);
  }
  await sleep(500);
  if (clientId === 'ours') {
    const { readings } = await (await rig.node('ledger').ready()).health();
    if (readings !== COUNT) throw new Error(`${readings} readings are in the ledger, ${COUNT} were published`);
  }
  await end();
  await session(url, clientId, version, false);
  return scoreOf(first!, last!);
}

const scoreOf = (from: Mark, to: Mark): Score => ({
  perS: ((to.seen - from.seen) * 1000) / (to.ms - from.ms),
  cpuUs: (to.cpuUs - from.cpuUs) / (to.seen - from.seen),
});

const median = (values: number[]) => [...values].sort((a, b) => a - b)[values.length >> 1]!;

async function main(): Promise<void> {
  const broker = await mosquitto();
  const rig = await nodeRed();
  registerSink();
  const publisher = await connectAsync(broker.url);
  const byHand = (synchronous: 'full' | 'normal') => inserting(rig.userDir, synchronous);
  const contests: Contest[] = [
    { name: 'durable', start: durable('single'), clientId: 'ours', version: '5' },
    { name: 'batches', start: durable('batches'), clientId: 'ours', version: '5' },
    { name: 'bare', start: bare(count), clientId: 'bare', version: '5' },
    { name: 'core', start: core, clientId: 'core', version: '5' },
    { name: 'full', start: byHand('full'), clientId: 'core', version: '5' },
    { name: 'normal', start: byHand('normal'), clientId: 'core', version: '5' },
    { name: 'durable', start: durable('single'), clientId: 'ours', version: '4' },
    { name: 'core', start: core, clientId: 'core', version: '4' },
  ];
  const scores = new Map<string, Score[]>();
  for (let round = 0; round < ROUNDS; round++) {
    for (const contest of contests) {
      const key = `${contest.name} ${contest.version}`;
      scores.set(key, [...(scores.get(key) ?? []), await drain(rig, publisher, broker.url, contest)]);
    }
  }
  report('ingest', [...rows('durable', '5', scores), ...rows('batches', '5', scores), ...rows('durable', '4', scores)]);
  await rig.deploy([]);
  publisher.end(true);
  await rig.stop();
  await broker.stop();
  process.exit(0);
}

const PEERS: readonly (readonly [name: string, what: string, aim?: string])[] = [
  ['bare', 'bare mqtt.js, parsed, nothing stored', '>= 0.6x'],
  ['core', 'core mqtt in -> function -> sink, nothing stored', '>= 1x'],
  ['full', 'core mqtt in -> insert a message, synchronous = full', '>= 1.5x'],
  ['normal', 'the same, synchronous = normal (may lose at a power cut)'],
];

function rows(name: string, version: Version, scores: ReadonlyMap<string, readonly Score[]>): BenchRow[] {
  const of = (who: string, what: keyof Score) => median(scores.get(`${who} ${version}`)!.map((score) => score[what]));
  const how = `${name === 'batches' ? 'batches' : 'one message each'}, MQTT ${version === '5' ? '5' : '3.1.1'}`;
  const met = PEERS.filter(([peer]) => scores.has(`${peer} ${version}`));
  const speed = met.map(([peer, what, aim]) => ({
    what: `stored, acknowledged, sent as ${how}`,
    value: of(name, 'perS'),
    unit: '/s',
    peer: { what, value: of(peer, 'perS') },
    ratio: of(name, 'perS') / of(peer, 'perS'),
    ...(aim === undefined ? {} : { aim }),
  }));
  const cost = met.map(([peer, what]) => ({
    what: `  processor time, ${how}`,
    value: of(name, 'cpuUs'),
    unit: 'us',
    peer: { what, value: of(peer, 'cpuUs') },
    ratio: of(peer, 'cpuUs') / of(name, 'cpuUs'),
  }));
  return [...speed, ...cost];
}

void main();
