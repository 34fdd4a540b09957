/**
 * `npm run soak [minutes] [readings a second]`: the whole chain under a steady load for half an hour, unless told otherwise. Every half
 * minute the heap before and after a forced collection, the resident memory and what was published and stored. At the end: does the heap grow,
 * with confidence limits, and is everything that was published stored. Ends with 1 when something was lost.
 */
import { mkdirSync, statSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import type { LedgerHealth } from '../../nodes/ledger/ledger';
import { mosquitto } from '../kit/broker';
import { nodeRed, type Rig } from '../kit/node-red';
import { flow } from './load/feeder';
import { sendOut } from './load/send-out';
import { slopeOf } from './load/slope';

const MINUTES = Number(process.argv[2] ?? 30);
const PER_S = Number(process.argv[3] ?? 2000);
const SAMPLE_EVERY_S = 30;
/** Few enough that the last 32 readings of each place are in memory soon and the collections forced here cost little. */
const SITES = 2500;
/** Shorter than a round, so that a finding rests on what was read in one round, as on a visit of a crew. */
const COMBINE_S = 3;
const FILE = 'soak.sqlite';
/** What fills once is filled by then: caches, compiled code, the last 32 readings of each place. */
const WARM_UP = 1 / 3;
const ALERTS_PER_S = 1;
/** What a busy machine leaves to later stays at the broker: all of it, and not written to the disk every second. */
const BACKLOG = ['max_queued_messages 10000000', 'autosave_interval 3600'];
/** What the broker still holds is waited for as long as some of it comes in this time. */
const STANDSTILL_S = 60;

interface Sample {
  readonly minute: number;
  /** what waits to be collected included: this, and the like of the ledger's threads, is what the resident memory holds */
  readonly heapBeforeMB: number;
  readonly heapMB: number;
  /** what the engine holds of the system for the heap, fragments included */
  readonly heapTotalMB: number;
  readonly externalMB: number;
  readonly rssMB: number;
  readonly fileMB: number;
  /** the write-ahead log beside the file */
  readonly logMB: number;
  readonly published: number;
  readonly stored: number;
}

const mb = (bytes: number) => Math.round(bytes / 1e5) / 10;
const sizeMB = (file: string) => mb(statSync(file, { throwIfNoEntry: false })?.size ?? 0);
const stored = (rig: Rig) => rig.node('in').counters().stored as number;

function sample(rig: Rig, beganMs: number, published: number): Sample {
  if (!global.gc) throw new Error('run with --expose-gc');
  const heapBeforeMB = mb(process.memoryUsage().heapTotal);
  global.gc();
  global.gc();
  const { heapUsed, heapTotal, external, rss } = process.memoryUsage();
  const minute = Math.round((performance.now() - beganMs) / 600) / 100;
  const memory = { heapMB: mb(heapUsed), heapTotalMB: mb(heapTotal), externalMB: mb(external), rssMB: mb(rss) };
  const file = join(rig.userDir, FILE);
  const disk = { fileMB: sizeMB(file), logMB: sizeMB(`${file}-wal`) };
  const full = { minute, heapBeforeMB, ...memory, ...disk, published, stored: stored(rig) };
  console.log(
    Object.entries(full)
      .map(([name, n]) => `${name} ${n}`)
      .join('  '),
  );
  return full;
}

async function drained(rig: Rig, published: number): Promise<void> {
  let before = stored(rig);
  for (let still = 0; stored(rig) < published && still < STANDSTILL_S; still++) {
    await sleep(1000);
    if (stored(rig) > before) still = 0;
    before = stored(rig);
  }
}

/** What was stored last is still being judged: until no finding comes any more. */
async function judged(rig: Rig): Promise<LedgerHealth> {
  const ledger = await rig.node('ledger').ready();
  let before: LedgerHealth = await ledger.health();
  for (;;) {
    await sleep(5000);
    const now: LedgerHealth = await ledger.health();
    if (now.findings === before.findings) return now;
    before = now;
  }
}

async function main(): Promise<void> {
  const broker = await mosquitto(BACKLOG);
  const rig = await nodeRed();
  const seconds = Math.round(MINUTES * 60);
  const surprises = seconds * ALERTS_PER_S;
  const nodes = flow({
    port: broker.port,
    sites: SITES,
    surprises,
    topic: 'soak',
    output: 'batches',
    file: FILE,
    combineS: COMBINE_S,
  });
  await rig.deploy(nodes);
  for (let i = 0; !rig.status('in')?.text?.startsWith('connected') && i < 200; i++) await sleep(50);
  console.log(`${MINUTES} minutes at ${PER_S} readings/s, Node.js ${process.version}`);
  const beganMs = performance.now();
  const orders = {
    url: broker.url,
    topic: 'soak',
    perS: PER_S,
    seconds,
    sites: SITES,
    surpriseEvery: PER_S / ALERTS_PER_S,
    strayEvery: 997,
  };
  const outing = sendOut(orders);
  const samples: Sample[] = [];
  let isOut = true;
  const home = outing.returns.finally(() => {
    isOut = false;
  });
  while (isOut) {
    await Promise.race([sleep(SAMPLE_EVERY_S * 1000), home]);
    if (isOut) samples.push(sample(rig, beganMs, outing.published));
  }
  const { published, surprises: due, delays } = await home;
  await drained(rig, published);
  samples.push(sample(rig, beganMs, published));
  const { readings, findings } = await judged(rig);
  await rig.deploy([]);
  await rig.stop();
  await broker.stop();
  tell(samples, { published, stored: readings, findings, alertsDue: due, alertsCame: delays.length });
}

function tell(samples: readonly Sample[], counts: Readonly<Record<string, number>>): void {
  const counted = samples.slice(0, -1).filter(({ minute }) => minute >= MINUTES * WARM_UP);
  const slope = (what: 'heapMB' | 'rssMB') => slopeOf(counted.map((s) => [s.minute, s[what]]));
  const [heap, rss] = [slope('heapMB'), slope('rssMB')];
  const words = ({ perUnit, low, high }: typeof heap) =>
    `${perUnit.toFixed(3)} MB a minute (95 %: ${low.toFixed(3)} to ${high.toFixed(3)})`;
  console.log(`${counted.length} samples after the first ${(100 * WARM_UP).toFixed(0)} %`);
  console.log(`heap: ${words(heap)}\nresident: ${words(rss)}`);
  console.log(
    Object.entries(counts)
      .map(([name, n]) => `${name} ${n}`)
      .join(', '),
  );
  const folder = resolve(__dirname, '../../.cache');
  mkdirSync(folder, { recursive: true });
  const result = {
    at: new Date().toISOString(),
    node: process.version,
    minutes: MINUTES,
    perS: PER_S,
    counts,
    heap,
    rss,
    samples,
  };
  writeFileSync(join(folder, 'soak.json'), JSON.stringify(result, null, 2));
  process.exit(counts.published === counts.stored ? 0 : 1);
}

void main();
