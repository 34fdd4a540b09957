/** Tracing feeders of a thousand to a million sections, beside carrying the nearest reading downstream. */

import { mostProbable } from '../../lib/feeder/exact';
import { sweep, sweepArrays } from '../../lib/feeder/sweep';
import { chance } from '../outside/rates/chance';
import { anglesAt, evidenceOf, makeWorld, nearestUpstream } from '../outside/rates/feeder-world';
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

function measure(count: number, runs: number): BenchRow[] {
  const dice = chance(count);
  const world = makeWorld(dice, count);
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
  ];
  if (count < 1_000_000) return rows;
  return [
    ...rows,
    { what: 'memory of tree and beliefs', value: bytes / count, unit: 'B/section', aim: '128' },
    {
      what: 'most probable explanation',
      value: bestMs(() => mostProbable(world.tree, evidence), 1),
      unit: 'ms',
      aim: '500 ms',
    },
  ];
}

report('feeder', [
  ...measure(1000, 200),
  ...measure(1500, 200),
  ...measure(10_000, 50),
  ...measure(100_000, 20),
  ...measure(1_000_000, 7),
]);
