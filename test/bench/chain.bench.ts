/**
 * Five of our nodes in a row against five core function nodes. First the price of a step: the screen five times, against its simplest
 * checks by hand. Then the main job: screen, phase id, rotation, tie check and alert desk, against what a hurried hand would write: the
 * nearest of three slots, the order of the last three angles, the differences at the open point, a table of what is wrong. That reckons
 * with no doubt, makes no records, keeps nothing and survives no restart, so the ratio says what those cost.
 * Same Node-RED process, same readings, in turns; no broker and no file.
 */
import { setTimeout as sleep } from 'node:timers/promises';
import { formatInstant, type NetworkDocument, type Reading } from '../../lib';
import { parseReading } from '../../lib/reading';
import { type FlowNode, nodeRed, type Rig } from '../kit/node-red';
import { type BenchRow, report } from './report';

const SITES = 300;
const ROUNDS = Number(process.env.PHASELOOM_BENCH_ROUNDS ?? 5);
const VISITS = 10;
const BATCH = 500;
const EPOCH_US = 1_777_900_000e6;
const ANGLES = [0, -120, 120];

const siteId = (s: number) => `hollin-bank/F3/S${s}`;
const terminals = (s: number) => [1, 2, 3].map((k) => `${siteId(s)}/${k}`);
const network: NetworkDocument = {
  id: 'bench',
  terminals: Array.from({ length: SITES }, (_, s) =>
    terminals(s).map((id, k) => ({
      id,
      site: siteId(s),
      recordedPhase: 'ABC'[k]!,
      connection: 'phase-neutral' as const,
    })),
  ).flat(),
  sites: Array.from({ length: SITES }, (_, s) => ({
    id: siteId(s),
    terminals: terminals(s),
    viewing: 'left-to-right' as const,
  })),
  openPoints: Array.from({ length: SITES / 10 }, (_, n) => ({
    id: `OP${n}`,
    left: terminals(10 * n),
    right: terminals(10 * n + 1),
  })),
};

let clockUs = EPOCH_US;
/** Crews going round: each conductor of each site in turn, all as recorded. */
function visits(): Reading[] {
  const readings: Reading[] = [];
  for (let v = 0; v < VISITS; v++) {
    for (let s = 0; s < SITES; s++) {
      for (const [k, terminal] of terminals(s).entries()) {
        clockUs += 2e6;
        const said = {
          kind: 'reading',
          terminal,
          takenAt: formatInstant(clockUs),
          angleDeg: ANGLES[k]! + ((s * 7 + v * 3 + k) % 5) - 2,
          against: 'SUB',
          sigmaDeg: 0.8,
          clock: { source: 'gnss', errorUs: 1.2, locked: true },
          instrument: { id: `P-${s % 20}`, selfTest: 'pass' },
        };
        const parsed = parseReading(said);
        if (!parsed.ok) throw new Error(JSON.stringify(parsed));
        readings.push(parsed.reading);
      }
    }
  }
  return readings;
}

/** The reading that ends a run: a conductor that is not as recorded, so that something leaves the last node. */
const LAST = '/S0/1';
let ended: () => void = () => undefined;
function registerSink(): void {
  // biome-ignore lint/suspicious/noExplicitAny: the embedded runtime's API is used beyond its published types
  const RED: any = require('node-red');
  // biome-ignore lint/suspicious/noExplicitAny: a node
  RED.nodes.registerType('bench/sink', 'bench-sink', function (this: any, config: object) {
    RED.nodes.createNode(this, config);
    this.on('input', (msg: { payload: unknown }, _send: unknown, done: () => void) => {
      for (const one of Array.isArray(msg.payload) ? msg.payload : [msg.payload]) {
        if (one.subject?.endsWith(LAST) || one.terminal?.endsWith(LAST)) ended();
      }
      done();
    });
  });
}

const evidence = { frame: 'frame', network: 'network' };
const ours = (ledgerFile: string): FlowNode[] => [
  { id: 'reference', type: 'phaseloom-reference', referenceId: 'SUB', terminal: 'hollin-bank/SUB/1', phase: 'A' },
  { id: 'frame', type: 'phaseloom-frame', frameId: 'bench', reference: 'reference' },
  { id: 'network', type: 'phaseloom-network', source: 'inline', document: JSON.stringify(network) },
  { id: 'ledger', type: 'phaseloom-ledger', file: ledgerFile },
  { id: 'n1', type: 'phaseloom-screen', ...evidence, oldestH: '0', wires: [['n2'], []] },
  { id: 'n2', type: 'phaseloom-phase-id', ...evidence, wires: [['n3']] },
  { id: 'n3', type: 'phaseloom-rotation', ...evidence, passOn: true, wires: [['n4']] },
  { id: 'n4', type: 'phaseloom-tie-check', ...evidence, passOn: true, wires: [['n5']] },
  { id: 'n5', type: 'phaseloom-alert-desk', ledger: 'ledger', holdS: '0', perMinute: '100000', wires: [['sink']] },
  { id: 'sink', type: 'bench-sink', wires: [] },
];

const RECORD = JSON.stringify(Object.fromEntries(network.terminals!.map((t) => [t.id, t.recordedPhase])));
const TIES = JSON.stringify(
  Object.fromEntries(network.openPoints!.flatMap((p) => p.left.map((l, k) => [l, p.right[k]]))),
);
const TABLES = `context.set('record', ${RECORD});\ncontext.set('ties', ${TIES});`;
const byHand: FlowNode[] = [
  `const r = msg.payload;
if (typeof r.terminal !== 'string' || !Number.isFinite(r.angleDeg) || Math.abs(r.angleDeg) > 360) return null;
if (!(r.clock && r.clock.locked && r.clock.errorUs < 100) || (r.instrument && r.instrument.selfTest === 'fail')) return null;
return msg;`,
  `const angle = msg.payload.angleDeg;
let best = 'A', least = 999;
for (const [phase, at] of [['A', 0], ['B', -120], ['C', 120]]) {
  const off = Math.abs(((angle - at + 540) % 360) - 180);
  if (off < least) { best = phase; least = off; }
}
msg.payload.phase = least < 30 ? best : null;
msg.payload.agrees = msg.payload.phase === context.get('record')[msg.payload.terminal];
return msg;`,
  `const [, site, place] = /^(.*)\\/(\\d)$/.exec(msg.payload.terminal);
const sites = context.get('sites') || {};
const last = sites[site] || (sites[site] = {});
last[place] = msg.payload.angleDeg;
context.set('sites', sites);
if (last[1] !== undefined && last[2] !== undefined && last[3] !== undefined) {
  msg.payload.rotation = ((last[1] - last[2] + 360) % 360) < 180 ? 'ABC' : 'ACB';
}
return msg;`,
  `const ties = context.get('ties');
const angles = context.get('angles') || {};
angles[msg.payload.terminal] = msg.payload.angleDeg;
context.set('angles', angles);
const other = angles[ties[msg.payload.terminal]];
if (other !== undefined) msg.payload.apart = Math.abs(((msg.payload.angleDeg - other + 540) % 360) - 180);
return msg;`,
  `const wrong = context.get('wrong') || {};
const is = !msg.payload.agrees || msg.payload.apart > 10;
const was = wrong[msg.payload.terminal] || false;
wrong[msg.payload.terminal] = is;
context.set('wrong', wrong);
return is && !was ? msg : null;`,
].map((func, n) => ({
  id: `n${n + 1}`,
  type: 'function',
  func,
  initialize: TABLES,
  outputs: 1,
  wires: [[n === 4 ? 'sink' : `n${n + 2}`]],
}));
byHand.push({ id: 'sink', type: 'bench-sink', wires: [] });

const CHECK = byHand[0]!.func as string;
const inARow = (type: string, more: object): FlowNode[] => [
  ...ours(':memory:').filter((n) => !n.wires),
  ...Array.from({ length: 5 }, (_, n) => ({
    id: `n${n + 1}`,
    type,
    ...more,
    wires: [[n === 4 ? 'sink' : `n${n + 2}`]],
  })),
  { id: 'sink', type: 'bench-sink', wires: [] },
];

/** Readings a second through the chain that is deployed. */
async function run(rig: Rig, readings: readonly Reading[], batch: number): Promise<number> {
  clockUs += 2e6;
  const last = { ...readings[0]!, id: `rd-${clockUs}`, takenAt: formatInstant(clockUs), angleDeg: -120 };
  const messages: unknown[] = [];
  if (batch === 1) messages.push(...readings);
  else for (let i = 0; i < readings.length; i += batch) messages.push(readings.slice(i, i + batch));
  // A copy, as core nodes would make it: the hand-written steps write into their message.
  const payloads = structuredClone([...messages, batch === 1 ? last : [last]]);
  const end = new Promise<void>((resolve) => {
    ended = resolve;
  });
  const beganAt = performance.now();
  for (const payload of payloads) rig.send('n1', { payload });
  await end;
  return readings.length / ((performance.now() - beganAt) / 1000);
}

const median = (values: number[]) => [...values].sort((a, b) => a - b)[values.length >> 1]!;

async function main(): Promise<void> {
  const rig = await nodeRed();
  registerSink();
  const scores: Record<string, number[]> = {
    single: [],
    batch: [],
    hand: [],
    screens: [],
    screensBatch: [],
    checks: [],
  };
  for (let round = 0; round < ROUNDS; round++) {
    for (const [who, flow, batch] of [
      ['single', ours(':memory:'), 1],
      ['batch', ours(':memory:'), BATCH],
      ['hand', byHand, 1],
      ['screens', inARow('phaseloom-screen', { ...evidence, oldestH: '0' }), 1],
      ['screensBatch', inARow('phaseloom-screen', { ...evidence, oldestH: '0' }), BATCH],
      ['checks', inARow('function', { func: CHECK, outputs: 1 }), 1],
    ] as const) {
      await rig.deploy(structuredClone(flow) as FlowNode[]);
      await run(rig, visits(), batch);
      scores[who]!.push(await run(rig, visits(), batch));
      await sleep(100);
      if (rig.errors.length > 0) throw new Error(`${who}: ${rig.errors[0]!.message}`);
    }
  }
  const of = (who: string) => median(scores[who]!);
  const row = (what: string, who: string, peer: string, by: string, aim?: string): BenchRow => ({
    what,
    value: of(who),
    unit: 'readings/s',
    peer: { what: peer, value: of(by) },
    ratio: of(who) / of(by),
    ...(aim ? { aim } : {}),
  });
  const check = 'five function nodes with a check';
  const job = 'five function nodes, the job in short';
  report('chain', [
    row('five screens, one message a reading', 'screens', check, 'checks', '>= 4x'),
    row(`five screens, batches of ${BATCH}`, 'screensBatch', check, 'checks', '>= 4x'),
    row('the main job, one message a reading', 'single', job, 'hand', '>= 4x'),
    row(`the main job, batches of ${BATCH}`, 'batch', job, 'hand', '>= 4x'),
  ]);
  await rig.stop();
  process.exit(0);
}

void main();
