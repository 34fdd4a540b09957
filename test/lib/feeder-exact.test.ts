import { expect } from 'chai';
import { exact } from '../../lib/feeder/exact';
import type { ClockNumber, FeederTree } from '../../lib/feeder/model';
import { type MostProbable, mostProbable } from '../../lib/feeder/most-probable';
import { type PairFactor, pairFactor, sameConductors } from '../../lib/feeder/pair-factor';
import { STATES } from '../../lib/feeder/permutation';
import { explain, solve } from '../../lib/feeder/solve';
import { chance } from '../outside/rates/chance';
import { type Enumerated, enumerate, randomEvidence, randomTree, weightOf } from './feeder-enumeration';

const UNKNOWN: readonly ClockNumber[] = [
  { n: 0, probability: 0.4 },
  { n: 1, probability: 0.3 },
  { n: 11, probability: 0.3 },
];
const TURNS: readonly (readonly ClockNumber[])[] = [
  [{ n: 1, probability: 1 }],
  [{ n: 11, probability: 1 }],
  [{ n: 5, probability: 1 }],
  UNKNOWN,
];

/** @param kinds how many of the turns above are drawn from: the last one costs a sum over three clock numbers */
function withWindings(seed: number, count: number, share = 0.4, kinds = TURNS.length): FeederTree {
  const dice = chance(seed + 77);
  const windings = new Map<number, readonly ClockNumber[]>();
  for (let v = 1; v < count; v++) if (dice.uniform() < share) windings.set(v, TURNS[dice.below(kinds)]!);
  return randomTree(seed, count, windings);
}

/** Loops, ties compared by a crew, and statements of any kind, between sections drawn at random. */
function randomFactors(seed: number, tree: FeederTree, count: number): PairFactor[] {
  const dice = chance(seed + 999);
  return Array.from({ length: count }, (_, i) => {
    const a = 1 + dice.below(tree.count - 1);
    const b = 1 + ((a + dice.below(tree.count - 2)) % (tree.count - 1));
    const common = [0, 1, 2].filter((j) => (tree.mask[a]! & tree.mask[b]! & (1 << j)) !== 0);
    const kind = dice.uniform();
    if (kind < 0.4 && common.length > 0) return sameConductors(`loop ${i}`, a, b, tree.mask[a]! & tree.mask[b]!);
    if (kind < 0.8 && common.length > 0) {
      const pairs = common.map((j, k) => [j, common[(k + 1) % common.length]!] as const);
      return pairFactor(`tie ${i}`, a, b, { pairs, ahead: dice.below(5) - 2, fits: 0.99, else: 0.01 });
    }
    const table = Float64Array.from({ length: 12 * STATES * STATES }, () => 0.01 + dice.uniform());
    return { id: `any ${i}`, a, b, table, ahead: 0 };
  });
}

const off = (a: ArrayLike<number>, b: ArrayLike<number>) =>
  Array.from(a).reduce((worst, x, i) => Math.max(worst, Math.abs(x - b[i]!)), 0);

interface Told {
  readonly belief: ArrayLike<number>;
  readonly change: ArrayLike<number>;
  readonly logEvidence: number;
}

/** Equal weights are possible, of absent conductors at least: so of the best explanation weights are compared, not states. */
function deviation(told: Told, best: MostProbable, weight: number, truth: Enumerated): number {
  return Math.max(
    off(told.belief, truth.belief),
    off(told.change, truth.change),
    Math.abs(told.logEvidence - Math.log(truth.total)),
    Math.abs(best.logWeight - Math.log(truth.best.weight)),
    Math.abs(weight / truth.best.weight - 1),
  );
}

function ofTree(tree: FeederTree, seed: number): number {
  const evidence = randomEvidence(seed, tree, tree.windings.size > 0);
  const best = mostProbable(tree, evidence);
  const weight = weightOf(tree, evidence, [], best.states);
  return deviation(exact(tree, evidence), best, weight, enumerate(tree, evidence));
}

function withFactors(tree: FeederTree, seed: number, count: number): number {
  const evidence = randomEvidence(seed, tree, true);
  const solution = solve(tree, evidence, randomFactors(seed, tree, count));
  expect(solution.leftOut).to.deep.equal([]);
  const truth = enumerate(tree, evidence, solution.factors);
  // Each is a sum over every joint state of its own.
  const gains = (tree.count < 8 ? solution.factors : []).map((f) => {
    const rest = solution.factors.filter((g) => g !== f);
    return Math.abs(solution.logGain(f) - Math.log(truth.total / enumerate(tree, evidence, rest).total));
  });
  const best = explain(solution, evidence);
  const weight = weightOf(tree, evidence, solution.factors, best.states);
  return Math.max(deviation(solution, best, weight, truth), ...gains);
}

describe('feeder with loops, ties and turning transformers beside the sum over every joint state', function () {
  this.timeout(120_000);
  const measure = (title: string, runs: number, one: (seed: number) => number) =>
    it(`${title}: agrees to 1e-9 (source: exhaustive enumeration)`, () => {
      let worst = 0;
      for (let seed = 1; seed <= runs; seed++) worst = Math.max(worst, one(seed));
      console.log(`      greatest deviation ${worst.toExponential(1)}`);
      expect(worst).to.be.below(1e-9);
    });

  measure('60 plain feeders', 60, (seed) => ofTree(randomTree(seed, 5), seed));
  measure('40 feeders with two loops or ties', 40, (seed) => withFactors(randomTree(seed, 6), seed, 2));
  measure('10 feeders with three loops or ties', 10, (seed) => withFactors(randomTree(seed, 6), seed, 3));
  measure('40 feeders with turning transformers', 40, (seed) => ofTree(withWindings(seed, 5), seed));
  measure('60 feeders with transformers and two loops or ties', 60, (seed) =>
    withFactors(withWindings(seed, 5), seed, 2),
  );
  measure('2 feeders of eight sections with transformers, a loop and a tie', 2, (seed) =>
    withFactors(withWindings(seed, 9, 0.3, 3), seed, 2),
  );

  it('names states that have the greatest weight', () => {
    for (let seed = 1; seed <= 20; seed++) {
      const tree = { ...randomTree(seed, 5), mask: new Uint8Array(5).fill(7) };
      const evidence = randomEvidence(seed, tree);
      const truth = enumerate(tree, evidence);
      expect([...mostProbable(tree, evidence).states]).to.deep.equal([...truth.best.states]);
    }
  });
});
