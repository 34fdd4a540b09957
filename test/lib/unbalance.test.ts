import { expect } from 'chai';
import fc from 'fast-check';
import { minus, type Phasor, phasor, sum, turn } from '../../lib/phasor';
import {
  deratingFactor,
  lineVoltageUnbalance,
  negativeSequenceUnbalance,
  negativeSequenceUnbalanceFromLines,
  phaseVoltageUnbalance,
} from '../../lib/unbalance';
import { limitsExceeded, unbalanceOfWeek } from '../../lib/unbalance-limits';

const SEED = { seed: 20261125, numRuns: 300 };
const near = (deg: number) =>
  fc
    .tuple(fc.double({ min: 80, max: 120, noNaN: true }), fc.double({ min: deg - 20, max: deg + 20, noNaN: true }))
    .map(([m, a]) => phasor(m, a));
const system = fc.tuple(near(0), near(-120), near(120));
const any = fc
  .tuple(fc.double({ min: 0, max: 50, noNaN: true }), fc.double({ min: -180, max: 180, noNaN: true }))
  .map(([m, a]) => phasor(m, a));
const lines = ([a, b, c]: readonly [Phasor, Phasor, Phasor]) =>
  [minus(a, b), minus(b, c), minus(c, a)].map((l) => l.magnitude) as [number, number, number];

describe('measures of unbalance', () => {
  it('V2/V1 from three line magnitudes is V2/V1 from the phasors (the formula of IEC 61000-4-30 against its definition)', () =>
    fc.assert(
      fc.property(system, (s) => {
        expect(negativeSequenceUnbalanceFromLines(...lines(s))).to.be.closeTo(negativeSequenceUnbalance(...s), 1e-6);
      }),
      SEED,
    ));

  it('line figures do not see zero sequence, the phase figure does', () => {
    fc.assert(
      fc.property(system, any, (s, zero) => {
        const shifted = s.map((p) => sum(p, zero)) as [Phasor, Phasor, Phasor];
        expect(lineVoltageUnbalance(...lines(shifted))).to.be.closeTo(lineVoltageUnbalance(...lines(s)), 1e-6);
        expect(negativeSequenceUnbalance(...shifted)).to.be.closeTo(negativeSequenceUnbalance(...s), 1e-6);
      }),
      SEED,
    );
    const balanced = [0, -120, 120].map((a) => phasor(100, a));
    const shifted = balanced.map((p) => sum(p, phasor(5, 0)).magnitude) as [number, number, number];
    expect(phaseVoltageUnbalance(...shifted)).to.be.above(4);
  });

  it('do not depend on the unit, on where the angles are counted from, or on which conductor comes first', () =>
    fc.assert(
      fc.property(system, fc.double({ min: 0.01, max: 1000, noNaN: true }), (s, unit) => {
        const [ab, bc, ca] = lines(s);
        const [a, b, c] = s.map((p) => turn(phasor(p.magnitude * unit, p.angleDeg), 77)) as [Phasor, Phasor, Phasor];
        expect(negativeSequenceUnbalance(b, c, a)).to.be.closeTo(negativeSequenceUnbalance(...s), 1e-7);
        expect(lineVoltageUnbalance(bc * unit, ca * unit, ab * unit)).to.be.closeTo(
          lineVoltageUnbalance(ab, bc, ca),
          1e-9,
        );
      }),
      SEED,
    ));

  it('a pure negative sequence of u % on a balanced system is u % by V2/V1', () =>
    fc.assert(
      fc.property(
        fc.double({ min: 0, max: 50, noNaN: true }),
        fc.double({ min: -180, max: 180, noNaN: true }),
        (u, at) => {
          const s = [0, -120, 120].map((deg) => sum(phasor(100, deg), phasor(u, at - deg))) as [Phasor, Phasor, Phasor];
          expect(negativeSequenceUnbalance(...s)).to.be.closeTo(u, 1e-9);
        },
      ),
      SEED,
    ));

  it('are NaN where there is nothing to compare: no voltage, no triangle, no magnitude', () => {
    const zero = phasor(0, 0);
    expect(negativeSequenceUnbalance(zero, zero, zero)).to.be.NaN;
    for (const bad of [
      [0, 0, 0],
      [-480, 480, 480],
      [Number.NaN, 480, 480],
      [Number.POSITIVE_INFINITY, 480, 480],
    ] as [number, number, number][]) {
      expect([lineVoltageUnbalance(...bad), phaseVoltageUnbalance(...bad)], String(bad)).to.deep.equal([
        Number.NaN,
        Number.NaN,
      ]);
      expect(negativeSequenceUnbalanceFromLines(...bad), String(bad)).to.be.NaN;
    }
    expect(negativeSequenceUnbalanceFromLines(100, 100, 250)).to.be.NaN;
  });
});

describe('derating by unbalance', () => {
  it('falls with the unbalance, and stops at 5 %', () =>
    fc.assert(
      fc.property(fc.double({ min: 0, max: 5, noNaN: true }), fc.double({ min: 0, max: 5, noNaN: true }), (p, q) => {
        const [less, more] = [deratingFactor(Math.min(p, q))!, deratingFactor(Math.max(p, q))!];
        expect(less).to.be.at.least(more);
        expect(more).to.be.within(0.75, 1);
      }),
      SEED,
    ));
  it('is null outside 0 to 5 %', () =>
    expect([-0.1, 5.0001, Number.NaN].map(deratingFactor)).to.deep.equal([null, null, null]));
});

describe('limits of unbalance', () => {
  it('each speaks of its own measure only', () => {
    expect(limitsExceeded('negative-sequence', 10).map((l) => l.document)).to.deep.equal(['EN 50160']);
    expect(limitsExceeded('line-voltage', 4).map((l) => `${l.document} ${l.limitPct}`)).to.deep.equal([
      'ANSI C84.1 Annex C 3',
      'NEMA MG-1 1',
    ]);
    expect(limitsExceeded('line-voltage', 1)).to.deep.equal([]);
  });

  const week = (above: number, known = 1008) => Array.from({ length: known }, (_, i) => (i < above ? 2.1 : 1.9));
  it('a week is within when 95 % of its 1008 means are, and is judged before it is whole only where the rest cannot matter', () => {
    const verdict = (means: number[]) => unbalanceOfWeek(means).verdict;
    expect([week(50), week(51), week(51, 51), week(0, 958), week(0, 957), []].map(verdict)).to.deep.equal([
      'within',
      'exceeded',
      'exceeded',
      'within',
      'not-proven',
      'not-proven',
    ]);
  });
  it('means that are no numbers are missing', () => {
    const found = unbalanceOfWeek([...week(0, 900), ...Array(108).fill(Number.NaN)]);
    expect(found).to.include({ verdict: 'not-proven', measured: 900 });
    expect(found.reasons[0]).to.include({ code: 'week-incomplete' });
  });
  it('a week has no more than 1008', () =>
    expect(() => unbalanceOfWeek(Array(1009).fill(1))).to.throw(RangeError, '1008'));
});
