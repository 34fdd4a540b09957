import { expect } from 'chai';
import { sweep, sweepArrays } from '../../lib/feeder/sweep';
import { enumerate, randomEvidence, randomTree } from './feeder-enumeration';

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
