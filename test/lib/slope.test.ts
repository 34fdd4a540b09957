import { expect } from 'chai';
import { slopeOf } from '../bench/load/slope';

describe('the slope of the long run', () => {
  it('agrees with F. J. Anscombe, Graphs in Statistical Analysis, The American Statistician 27 (1973): 0.5, standard error 0.118', () => {
    const x = [10, 8, 13, 9, 11, 14, 6, 4, 12, 7, 5];
    const y = [8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68];
    const { perUnit, low, high } = slopeOf(x.map((at, i) => [at, y[i]!]));
    expect(perUnit).to.be.closeTo(0.5, 0.0005);
    // t for 8 degrees of freedom is the next below the 9 there are.
    expect((high - low) / 2).to.be.closeTo(2.306 * 0.118, 0.001);
    expect((high + low) / 2).to.be.closeTo(perUnit, 1e-12);
  });

  it('two points have a slope and no limits', () => {
    const { perUnit, low, high } = slopeOf([
      [0, 1],
      [2, 2],
    ]);
    expect({ perUnit, low, high }).to.deep.equal({ perUnit: 0.5, low: -Infinity, high: Infinity });
  });
});
