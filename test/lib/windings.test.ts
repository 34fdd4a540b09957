import { expect } from 'chai';
import { separation } from '../../lib/angle';
import { sequenceOfLabels } from '../../lib/lead-order';
import { fromRectangular, minus, type Phasor, phasor, scale } from '../../lib/phasor';
import {
  connectionAngle,
  parseVectorGroup,
  pathShiftDeg,
  slotAngle,
  slotOf,
  windingShiftDeg,
} from '../../lib/windings';

const PHASE_DEG: Record<string, number> = { A: 0, B: -120, C: 120 };

/** Phasor arithmetic of a delta-star bank: each low-voltage leg is in phase with one line-to-line voltage of the high side. */
function deltaStar(high: readonly Phasor[], group: 'Dyn1' | 'Dyn11'): Phasor[] {
  const other = (k: number) => (group === 'Dyn11' ? (k + 1) % 3 : (k + 2) % 3);
  return high.map((v, k) => scale(minus(v, high[other(k)]!), 1 / Math.sqrt(3)));
}

describe('windings', () => {
  for (const group of ['Dyn1', 'Dyn11'] as const) {
    for (const order of ['ABC', 'BCA', 'CAB', 'ACB', 'CBA', 'BAC']) {
      it(`${group} fed ${order}: every leg turns as phasor arithmetic says, the sign following the sequence`, () => {
        const high = [...order].map((p) => phasor(1, PHASE_DEG[p]!));
        const low = deltaStar(high, group);
        const said = pathShiftDeg([group], sequenceOfLabels([...order])!);
        low.forEach((leg, k) => {
          expect(separation(leg.angleDeg - high[k]!.angleDeg, said)).to.be.below(1e-9);
        });
      });
    }
  }
  it('puts the twelve connections on the twelve multiples of 30 degrees', () => {
    const slots = (['phase-neutral', 'phase-neutral-reversed', 'phase-phase', 'phase-phase-reversed'] as const).flatMap(
      (c) => [0, 1, 2].map((p) => slotOf(connectionAngle(p, c))),
    );
    expect(slots.sort((a, b) => a - b)).to.deep.equal([0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]);
  });
  it('agrees with phasor arithmetic for phase to phase', () => {
    const ab = minus(phasor(1, 0), phasor(1, -120));
    expect(connectionAngle(0, 'phase-phase')).to.be.closeTo(ab.angleDeg, 1e-9);
    expect(fromRectangular(1, 1).angleDeg).to.be.closeTo(45, 1e-12);
  });
  it('has slots and their angles undo each other', () => {
    for (let slot = 0; slot < 12; slot++) expect(slotOf(slotAngle(slot))).to.equal(slot);
  });
  it('knows single-phase windings and autotransformers', () => {
    expect(['Ii0', 'Ii6', 'YNa0', 'Ia0'].map(windingShiftDeg)).to.deep.equal([0, -180, 0, 0]);
    for (const wrong of ['Ii1', 'YNa6', 'Iy0', 'Da0', 'dyn11', 'DYN11', 'YNyn0d5', 'Dyn', 'Dyn12', 'Dyn011', '']) {
      const parsed = parseVectorGroup(wrong);
      expect(parsed.ok, wrong).to.equal(false);
      expect(!parsed.ok && parsed.expected, wrong).to.match(/^(an IEC 60076-1 vector group|clock number 0)/);
    }
  });
  it('says what is no vector group and what would be right', () => {
    const told = (text: string) => {
      const p = parseVectorGroup(text);
      return p.ok ? p.clock : p.code;
    };
    expect([told('Dyn11'), told(' YNd1 '), told('Dy2'), told('Yy1'), told('Dyn13'), told('hello')]).to.deep.equal([
      11,
      1,
      'clock-does-not-fit',
      'clock-does-not-fit',
      'not-a-vector-group',
      'not-a-vector-group',
    ]);
    expect(() => windingShiftDeg('Dy2')).to.throw(RangeError, 'an odd clock number');
  });
});
