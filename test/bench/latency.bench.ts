/**
 * From the moment a reading was to be published to its alert at an outside party, through Mosquitto and the whole chain: readings in,
 * screen, phase id, tie check, alert desk, mqtt out. Every reading and finding is committed to a SQLite ledger at full durability on
 * the way. Instruments publish in an open loop from a process of their own.
 */
import { setTimeout as sleep } from 'node:timers/promises';
import { mosquitto } from '../kit/broker';
import { nodeRed, type Rig } from '../kit/node-red';
import { flow } from './load/feeder';
import type { Returns } from './load/instruments';
import { sendOut } from './load/send-out';
import { type BenchRow, report } from './report';

const SECONDS = Number(process.env.PHASELOOM_BENCH_SECONDS ?? 12);
const ROUNDS = Number(process.env.PHASELOOM_BENCH_ROUNDS ?? 3);
const RATES = (process.env.PHASELOOM_BENCH_RATES ?? '1000,5000').split(',').map(Number);
const WARM_UP_S = 3;
const ALERTS_PER_S = 20;
const SITES = 10_000;

interface Score {
  readonly p50: number;
  readonly p99: number;
  readonly late99: number;
  readonly stored: number;
}

const at = (values: readonly number[], share: number) =>
  [...values].sort((a, b) => a - b)[Math.min(values.length - 1, Math.floor(values.length * share))] ?? Number.NaN;
const median = (values: readonly number[]) => at(values, 0.5);

let runs = 0;
async function once(rig: Rig, port: number, perS: number, output: 'single' | 'batches'): Promise<Score> {
  const topic = `load${runs++}`;
  const seconds = SECONDS + WARM_UP_S;
  await rig.deploy(
    flow({ port, sites: SITES, surprises: seconds * ALERTS_PER_S, topic, output, file: `${topic}.sqlite` }),
  );
  for (let i = 0; !rig.status('in')?.text?.startsWith('connected') && i < 200; i++) await sleep(50);
  global.gc?.();
  const surpriseEvery = perS / ALERTS_PER_S;
  const returns = await sendOut({
    url: `mqtt://127.0.0.1:${port}`,
    topic,
    perS,
    seconds,
    sites: SITES,
    surpriseEvery,
    strayEvery: 0,
  }).returns;
  return score(returns, rig.node('in').counters().stored);
}

function score({ published, surprises, delays, lateMs }: Returns, stored: number): Score {
  if (stored !== published) throw new Error(`${published} were published, ${stored} stored`);
  if (delays.length !== surprises) throw new Error(`${surprises} alerts were due, ${delays.length} came`);
  const counted = delays.filter(([atS]) => atS >= WARM_UP_S).map(([, ms]) => ms);
  return { p50: at(counted, 0.5), p99: at(counted, 0.99), late99: at(lateMs, 0.99), stored };
}

async function main(): Promise<void> {
  const broker = await mosquitto();
  const rig = await nodeRed();
  const rows: BenchRow[] = [];
  const contests = RATES.flatMap((perS) => (['single', 'batches'] as const).map((output) => ({ perS, output })));
  const scores = new Map(contests.map((c) => [c, [] as Score[]]));
  for (let round = 0; round < ROUNDS; round++) {
    for (const contest of contests) {
      scores.get(contest)!.push(await once(rig, broker.port, contest.perS, contest.output));
    }
  }
  for (const [{ perS, output }, of] of scores) {
    const how = `${perS / 1000}k readings/s, ${output === 'batches' ? 'batches' : 'one message each'}`;
    const all = of.map((s) => Math.round(s.p99)).join(', ');
    rows.push({ what: `p50, ${how}`, value: median(of.map((s) => s.p50)), unit: 'ms' });
    rows.push({
      what: `p99, ${how} (rounds: ${all})`,
      value: median(of.map((s) => s.p99)),
      unit: 'ms',
      peer: { what: 'p99 lateness of the publisher itself, ms', value: median(of.map((s) => s.late99)) },
      ...(perS === 1000 ? { aim: '<= 100 ms' } : {}),
    });
  }
  report('latency', rows);
  await rig.deploy([]);
  await rig.stop();
  await broker.stop();
  process.exit(0);
}

void main();
