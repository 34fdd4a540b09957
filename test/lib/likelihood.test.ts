import { expect } from 'chai';
import fc from 'fast-check';
import {
  CHI2_ONE_IN_1000,
  flooredNormal,
  jointLikelihood,
  magnitudeWeight,
  wrappedNormal,
  Z_ONE_IN_1000,
} from '../../lib';

/** Trapezoid rule over one turn: exact to rounding for smooth periodic functions. */
function overTurn(f: (deg: number) => number, steps = 7200): number {
  let sum = 0;
  for (let i = 0; i < steps; i++) sum += f(-180 + (360 * i) / steps);
  return (sum * 360) / steps;
}

describe('the wrapped normal', () => {
  for (const sd of [1, 5, 24.9, 25.1, 60, 120]) {
    it(`sums to one over a turn, sd ${sd}`, () => {
      expect(overTurn((x) => wrappedNormal(x, sd))).to.be.closeTo(1, 2e-6);
    });
  }

  it('has the resultant length exp(-sd^2/2) (Mardia and Jupp, Directional Statistics, from memory)', () => {
    for (const sd of [10, 40, 80]) {
      const rad = (sd * Math.PI) / 180;
      const length = overTurn((x) => wrappedNormal(x, sd) * Math.cos((x * Math.PI) / 180));
      expect(length).to.be.closeTo(Math.exp((-rad * rad) / 2), 1e-6);
    }
  });

  it('has the period of a turn', () => {
    fc.assert(
      fc.property(
        fc.double({ min: -500, max: 500, noNaN: true }),
        fc.double({ min: 1, max: 100, noNaN: true }),
        (x, sd) => {
          expect(wrappedNormal(x + 360, sd)).to.be.closeTo(wrappedNormal(x, sd), 1e-9);
        },
      ),
      { seed: 11 },
    );
  });

  it('with a gross error rate still sums to one, and is never less than the rate over a turn', () => {
    expect(overTurn((x) => flooredNormal(x, 5, 0.01))).to.be.closeTo(1, 1e-9);
    expect(flooredNormal(180, 1, 0.01)).to.be.closeTo(0.01 / 360, 1e-12);
    expect(flooredNormal(180, 1, 0)).to.be.above(0);
  });
});

describe('quantiles', () => {
  // Abramowitz and Stegun, Handbook of Mathematical Functions, tables 26.8 and 26.5 (from memory).
  it('chi-square, upper 0.001: 10.828 for one degree of freedom, 13.816 for two', () => {
    expect(CHI2_ONE_IN_1000[1]).to.equal(10.828);
    expect(CHI2_ONE_IN_1000[2]).to.be.closeTo(-2 * Math.log(0.001), 1e-3);
  });
  it('normal, two-sided 0.001: 3.29, whose square is chi-square with one degree of freedom', () => {
    expect(Z_ONE_IN_1000 ** 2).to.be.closeTo(CHI2_ONE_IN_1000[1], 0.005);
  });
});

describe('the weight of a voltage', () => {
  it('prefers the expected voltage by far to sqrt 3 times it', () => {
    expect(magnitudeWeight(7200, 7200, 0.05) / magnitudeWeight(7200, 7200 * Math.sqrt(3), 0.05)).to.be.above(1e5);
  });
  it('is the same for as much too high as too low, in ratio', () => {
    expect(magnitudeWeight(110, 100, 0.05)).to.be.closeTo(magnitudeWeight(100, 110, 0.05), 1e-12);
  });
});

describe('the joint likelihood', () => {
  /** The same by brute force: the common error on a fine grid. */
  function onGrid(r: readonly number[], sd: readonly number[], common: number, gross: number): number {
    const step = common / 200;
    let sum = 0;
    for (let b = -8 * common; b <= 8 * common; b += step) {
      const p = Math.exp((-b * b) / (2 * common * common)) / (common * Math.sqrt(2 * Math.PI));
      sum += p * step * r.reduce((product, x, k) => product * flooredNormal(x - b, sd[k]!, gross), 1);
    }
    return sum;
  }
  const residuals = fc.array(fc.double({ min: -60, max: 60, noNaN: true }), { minLength: 1, maxLength: 3 });

  it('equals a sum over a fine grid of the common error', () => {
    fc.assert(
      fc.property(
        residuals,
        fc.double({ min: 0.5, max: 10, noNaN: true }),
        fc.constantFrom(0.0005, 0.05),
        (r, common, gross) => {
          const sd = [2, 5, 10].slice(0, r.length);
          const got = jointLikelihood(r, sd, r.length, common, gross);
          const wanted = onGrid(r, sd, common, gross);
          expect(got / wanted).to.be.closeTo(1, 1e-6);
        },
      ),
      { seed: 12, numRuns: 60 },
    );
  });

  it('without a common error is the product of the single likelihoods', () => {
    const r = [3, -4, 7];
    const product = r.reduce((p, x) => p * flooredNormal(x, 5, 0.01), 1);
    expect(jointLikelihood(r, [5, 5, 5], 3, 0, 0.01) / product).to.be.closeTo(1, 1e-12);
  });
});
