import { expect } from 'chai';
import fc from 'fast-check';
import { circularMean, circularSd, difference, resultantLength, separation, wrap180, wrap360 } from '../../lib/angle';

const angle = fc.double({ min: -1e6, max: 1e6, noNaN: true });
const law = (a: typeof angle, b: fc.Arbitrary<number>, holds: (a: number, b: number) => unknown) =>
  fc.assert(
    fc.property(a, b, (x, y) => {
      holds(x, y);
    }),
    { seed: 20261125, numRuns: 500 },
  );

describe('angles', () => {
  it('wrap180 gives [-180, 180) and is idempotent', () =>
    law(angle, angle, (a) => {
      const w = wrap180(a);
      expect(w).to.be.within(-180, 180);
      expect(w).not.to.equal(180);
      expect(wrap180(w)).to.equal(w);
    }));
  it('wrap180 has a period of 360', () =>
    law(angle, fc.integer({ min: -5, max: 5 }), (a, k) =>
      expect(separation(wrap180(a + 360 * k), wrap180(a))).to.be.below(1e-6),
    ));
  it('difference is antisymmetric, separation symmetric and at most 180', () =>
    law(angle, angle, (a, b) => {
      expect(separation(difference(a, b), -difference(b, a))).to.be.below(1e-6);
      expect(separation(a, b)).to.be.within(0, 180);
      expect(separation(a, b)).to.be.closeTo(separation(b, a), 1e-6);
    }));
  it('wrap360 is the same direction in [0, 360)', () =>
    law(angle, angle, (a) => {
      expect(wrap360(a)).to.be.within(0, 360);
      expect(separation(wrap360(a), a)).to.be.below(1e-6);
    }));
  it('the circular mean turns with the angles', () =>
    law(fc.double({ min: -60, max: 60, noNaN: true }), angle, (spread, turn) => {
      expect(separation(circularMean([turn - spread, turn, turn + spread]), turn)).to.be.below(1e-5);
    }));
  it('has no mean direction where the angles cancel or there are none', () => {
    expect(circularMean([0, 120, 240])).to.be.NaN;
    expect(circularMean([])).to.be.NaN;
  });
  it('sees no spread in equal angles and more in wider ones', () => {
    expect(resultantLength([77, 77])).to.be.closeTo(1, 1e-12);
    expect(circularSd([-5, 5])).to.be.below(circularSd([-20, 20]));
  });
  it('gives NaN for what is no number', () =>
    expect([wrap180(Number.NaN), wrap180(Number.POSITIVE_INFINITY)]).to.deep.equal([Number.NaN, Number.NaN]));
});
