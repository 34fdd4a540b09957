/** Tracing feeders of a thousand to a million sections, beside carrying the nearest reading downstream. */

import { exact } from '../../lib/feeder/exact';
import { type FeederDocument, makeFeeder } from '../../lib/feeder/model';
import { mostProbable } from '../../lib/feeder/most-probable';
import { nextBest } from '../../lib/feeder/next-best';
import { sameConductors } from '../../lib/feeder/pair-factor';
import { sweep, sweepArrays } from '../../lib/feeder/sweep';
import { traceFeeder } from '../../lib/feeder/trace';
import { chance } from '../outside/rates/chance';
import { anglesAt, evidenceOf, makeWorld, nearestUpstream } from '../outside/rates/feeder-world';
import { breadthFirst } from './breadth-first';
import { type BenchRow, report } from './report';

const READ = 0.05;

/** Milliseconds, the best of several runs: what the code can do when the machine lets it. */
function bestMs(run: () => unknown, runs: number): number {
  let best = Number.POSITIVE_INFINITY;
  for (let i = 0; i < runs; i++) {
    const began = performance.now();
    run();
    best = Math.min(best, performance.now() - began);
  }
  return best;
}

/** Milliseconds of processor time a run, on average: does not hang on what else the machine does. */
function processorMs(run: () => unknown, runs: number): number {
  const began = process.cpuUsage();
  for (let i = 0; i < runs; i++) run();
  const { user, system } = process.cpuUsage(began);
  return (user + system) / 1000 / runs;
}

function measure(count: number, runs: number): BenchRow[] {
  const dice = chance(count);
  const world = breadthFirst(makeWorld(dice, count));
  const angles = new Map<number, readonly number[]>();
  for (let v = 1; v < count; v++) if (dice.uniform() < READ) angles.set(v, anglesAt(world, v, dice));
  const evidence = [...angles].map(([v, a]) => evidenceOf(world, v, a));
  const arrays = sweepArrays(count);
  const ms = bestMs(() => sweep(world.tree, evidence, arrays), runs);
  const peer = bestMs(() => nearestUpstream(world, angles), Math.min(runs, 5));
  const { parent, changePrior, mask } = world.tree;
  const bytes = [parent, changePrior, mask, ...Object.values(arrays)].reduce((sum, a) => sum + a.byteLength, 0);
  const size = count.toLocaleString('en-US');
  const aim = count === 1_000_000 ? '250 ms' : count === 1500 ? '1 ms' : undefined;
  const rows: BenchRow[] = [
    {
      what: `${size} sections`,
      value: ms,
      unit: 'ms',
      peer: { what: 'nearest upstream, ms', value: peer },
      ratio: ms / peer,
      ...(aim ? { aim } : {}),
    },
    { what: `${size} sections, each`, value: (1e6 * ms) / count, unit: 'ns/section' },
    {
      what: `${size} sections, processor time each`,
      value: (1e6 * processorMs(() => sweep(world.tree, evidence, arrays), runs)) / count,
      unit: 'ns/section',
    },
  ];
  if (count < 1_000_000) return rows;
  const loop = [sameConductors('loop', count - 1, count - 2, mask[count - 1]! & mask[count - 2]!)];
  return [
    ...rows,
    { what: `${size} sections with a loop`, value: bestMs(() => exact(world.tree, evidence, loop), 2), unit: 'ms' },
    { what: 'memory of tree and beliefs', value: bytes / count, unit: 'B/section', aim: '128' },
    {
      what: 'most probable explanation',
      value: bestMs(() => mostProbable(world.tree, evidence), 3),
      unit: 'ms',
      aim: '500 ms',
    },
  ];
}

/** The whole trace of one feeder, as a node runs it: beliefs, corrections, suspects, conflicts, suggestions. */
function wholeTrace(count: number, runs: number): BenchRow[] {
  const world = makeWorld(chance(count), count);
  const document: FeederDocument = {
    id: 'bench',
    source: '0',
    sections: Array.from({ length: count - 1 }, (_, i) => ({
      id: `s${i + 1}`,
      from: String(world.tree.parent[i + 1]),
      to: String(i + 1),
      phases: ['A', 'B', 'C'].filter((_, j) => (world.tree.mask[i + 1]! >> j) & 1),
      changePrior: world.tree.changePrior[i + 1]!,
    })),
  };
  const feeder = makeFeeder(document);
  const arrays = sweepArrays(count);
  const sweeps = bestMs(() => sweep(feeder, [], arrays), runs);
  const read = (crossed: boolean) => {
    const dice = chance(count + 1);
    const states = crossed ? world.truth : new Uint8Array(count);
    const sections = Array.from({ length: count - 1 }, (_, i) => i + 1).filter(() => dice.uniform() < READ);
    return sections.map((v) => ({
      ...evidenceOf(world, v, anglesAt({ ...world, truth: states }, v, dice)),
      section: feeder.indexOf.get(`s${v}`)!,
    }));
  };
  const { solution, read: done } = traceFeeder(feeder, read(true), [], arrays);
  const size = count.toLocaleString('en-US');
  const next: BenchRow = {
    what: `where to read next, ${size} sections`,
    value: bestMs(() => nextBest(solution, done), runs),
    unit: 'ms',
    aim: '5 ms',
  };
  const whole = [false, true].map((crossed): BenchRow => {
    const evidence = read(crossed);
    const ms = bestMs(() => traceFeeder(feeder, evidence, [], arrays), runs);
    const what = `whole trace of ${size} sections, ${crossed ? 'crossings' : 'as recorded'}`;
    return { what, value: ms, unit: 'ms', peer: { what: 'two sweeps, ms', value: sweeps }, ratio: ms / sweeps };
  });
  return [...whole, next];
}

report('feeder', [
  ...measure(1000, 200),
  ...measure(1500, 200),
  ...measure(10_000, 50),
  ...measure(100_000, 20),
  ...measure(1_000_000, 7),
  ...wholeTrace(1500, 30),
]);
