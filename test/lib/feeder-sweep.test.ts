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

  it('two hundred readings that agree at one section, or at places fed by it, do not outgrow the arithmetic', () => {
    const tree = randomTree(7, 5);
    const likelihood = Float64Array.from({ length: 6 }, (_, s) => (s === 2 ? 5.9 : 0.02));
    const last = tree.count - 1;
    for (const section of [1, last]) {
      const arrays = sweepArrays(tree.count);
      sweep(
        tree,
        Array.from({ length: 200 }, () => ({ section, from: [], likelihood })),
        arrays,
      );
      expect(arrays.belief.every(Number.isFinite)).to.equal(true);
      expect(arrays.belief[6 * section + 2]).to.be.above(0.999);
    }
  });
});
