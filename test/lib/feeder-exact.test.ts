import { expect } from 'chai';
import { type PairFactor, sameConductors } from '../../lib/feeder/blocks';
import { exact, mostProbable } from '../../lib/feeder/exact';
import type { ClockNumber, FeederTree } from '../../lib/feeder/model';
import { STATES } from '../../lib/feeder/permutation';
import { chance } from '../outside/rates/chance';
import { enumerate, randomEvidence, randomTree } from './feeder-enumeration';

const TURNS: readonly (readonly ClockNumber[])[] = [
  [{ n: 1, probability: 1 }],
  [{ n: 11, probability: 1 }],
  [
    { n: 0, probability: 0.4 },
    { n: 1, probability: 0.3 },
    { n: 11, probability: 0.3 },
  ],
];

function withWindings(seed: number, count: number): FeederTree {
  const dice = chance(seed + 77);
  const windings = new Map<number, readonly ClockNumber[]>();
  for (let v = 1; v < count; v++) if (dice.uniform() < 0.4) windings.set(v, TURNS[dice.below(3)]!);
  return randomTree(seed, count, windings);
}

/** Loops and measured ties between sections drawn at random. */
function randomFactors(seed: number, tree: FeederTree, count: number): PairFactor[] {
  const dice = chance(seed + 999);
  return Array.from({ length: count }, (_, i) => {
    const a = 1 + dice.below(tree.count - 1);
    const b = 1 + ((a + dice.below(tree.count - 2)) % (tree.count - 1));
    if (dice.uniform() < 0.6) return sameConductors(`loop ${i}`, a, b, tree.mask[a]! & tree.mask[b]!);
    return { id: `tie ${i}`, a, b, table: Float64Array.from({ length: STATES * STATES }, () => 0.01 + dice.uniform()) };
  });
}

function worstDeviation(tree: FeederTree, seed: number, factors: PairFactor[], turned: boolean): number {
  const evidence = randomEvidence(seed, tree, turned);
  const got = exact(tree, evidence, factors);
  const truth = enumerate(tree, evidence, factors);
  const best = mostProbable(tree, evidence, factors);
  // Ties of weight are possible on absent conductors, so weights are compared, not states.
  expect(best.logWeight).to.be.closeTo(Math.log(truth.best.weight), 1e-9);
  expect(got.logEvidence).to.be.closeTo(Math.log(truth.total), 1e-9);
  const off = (a: Float64Array, b: Float64Array) => a.reduce((w, x, i) => Math.max(w, Math.abs(x - b[i]!)), 0);
  return Math.max(off(got.belief, truth.belief), off(got.change, truth.change));
}

describe('feeder with loops, ties and turning transformers beside the sum over every joint state', () => {
  const measure = (title: string, runs: number, one: (seed: number) => number) =>
    it(`${title}: agrees to 1e-6 (source: exhaustive enumeration)`, () => {
      let worst = 0;
      for (let seed = 1; seed <= runs; seed++) worst = Math.max(worst, one(seed));
      console.log(`      greatest deviation ${worst.toExponential(1)}`);
      expect(worst).to.be.below(1e-6);
    });

  measure('60 plain feeders', 60, (seed) => worstDeviation(randomTree(seed, 5), seed, [], false));
  measure('40 feeders with two loops or ties', 40, (seed) => {
    const tree = randomTree(seed, 6);
    return worstDeviation(tree, seed, randomFactors(seed, tree, 2), false);
  });
  measure('10 feeders with three loops or ties', 10, (seed) => {
    const tree = randomTree(seed, 6);
    return worstDeviation(tree, seed, randomFactors(seed, tree, 3), false);
  });
  measure('40 feeders with turning transformers', 40, (seed) => worstDeviation(withWindings(seed, 5), seed, [], true));
  measure('20 feeders with transformers and two loops', 20, (seed) => {
    const tree = withWindings(seed, 5);
    return worstDeviation(tree, seed, randomFactors(seed, tree, 2), true);
  });
  it('names states that have the greatest weight', () => {
    for (let seed = 1; seed <= 20; seed++) {
      const tree = { ...randomTree(seed, 5), mask: new Uint8Array(5).fill(7) };
      const evidence = randomEvidence(seed, tree);
      const truth = enumerate(tree, evidence);
      expect([...mostProbable(tree, evidence).states]).to.deep.equal([...truth.best.states]);
    }
  });
});
