import { expect } from 'chai';
import { type SiteEvidence, siteLikelihood, slotLikelihood } from '../../lib/feeder/evidence';
import type { FeederTree } from '../../lib/feeder/model';
import { sweep, sweepArrays } from '../../lib/feeder/sweep';
import { chance } from '../outside/rates/chance';
import { enumerate, randomTree } from './feeder-enumeration';

/** Readings of the conductors present at about half of the sections, at random angles: the worst case for exactness. */
export function randomEvidence(seed: number, tree: FeederTree, turned = false): SiteEvidence[] {
  const dice = chance(seed ^ 0x5eed);
  const evidence: SiteEvidence[] = [];
  for (let v = 1; v < tree.count; v++) {
    if (dice.uniform() < 0.5) continue;
    const conductors = [0, 1, 2]
      .filter((j) => (tree.mask[v]! >> j) & 1)
      .map((conductor) => ({ conductor, slots: slotLikelihood(360 * dice.uniform(), 5 + 25 * dice.uniform(), 0.01) }));
    evidence.push({ section: v, from: [], likelihood: siteLikelihood(conductors, undefined, turned) });
  }
  return evidence;
}

describe('feeder without loops: the sweeps beside the sum over every joint state', () => {
  it('beliefs, changes and evidence of 120 random feeders agree to 1e-6 (source: exhaustive enumeration)', () => {
    let worst = 0;
    for (let seed = 1; seed <= 120; seed++) {
      const tree = randomTree(seed, 3 + (seed % 4));
      const evidence = randomEvidence(seed, tree);
      const arrays = sweepArrays(tree.count);
      const log = sweep(tree, evidence, arrays);
      const truth = enumerate(tree, evidence);
      arrays.belief.forEach((b, i) => {
        worst = Math.max(worst, Math.abs(b - truth.belief[i]!));
      });
      arrays.change.forEach((c, v) => {
        worst = Math.max(worst, Math.abs(c - truth.change[v]!));
      });
      expect(log).to.be.closeTo(Math.log(truth.total), 1e-5);
    }
    console.log(`      greatest deviation ${worst.toExponential(1)}`);
    expect(worst).to.be.below(1e-6);
  });
});
