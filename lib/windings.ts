/**
 * What transformers and single-phase connections do to an angle.
 * Vector groups and clock numbers in the sense of IEC 60076-1: the clock number n says that the low-voltage side lags by 30 n degrees.
 */
import { wrap180, wrap360 } from './angle';
import type { Connection } from './records';

/** Order in which the phases reach their crest: ABC positive, ACB reversed. */
export type Sequence = 'ABC' | 'ACB';

type Winding = 'Y' | 'D' | 'Z';

export interface VectorGroup {
  readonly ok: true;
  readonly group: string;
  readonly high: Winding;
  readonly low: Winding;
  /** 0 to 11 */
  readonly clock: number;
}

export interface NoVectorGroup {
  readonly ok: false;
  readonly code: 'not-a-vector-group' | 'clock-does-not-fit';
  readonly what: string;
  readonly expected: string;
}

const FORM = /^(YN|Y|D|ZN|Z)(yn|y|d|zn|z)(\d{1,2})$/;
const EXPECTED = 'an IEC 60076-1 vector group such as Dyn11, YNd1, Yy0 or Dd6';

/**
 * Reads a vector group. The clock number of windings of the same kind (Yy, Dd, Dz) is even, of different kinds (Dy, Yd, Yz) odd.
 * @example parseVectorGroup('Dyn11').clock // 11
 */
export function parseVectorGroup(text: string): VectorGroup | NoVectorGroup {
  const m = FORM.exec(text.trim());
  const clock = Number(m?.[3]);
  if (!m || clock > 11)
    return Object.freeze({
      ok: false,
      code: 'not-a-vector-group',
      what: `${JSON.stringify(text)} is not a vector group`,
      expected: EXPECTED,
    });
  const high = m[1]![0] as Winding;
  const low = m[2]![0]!.toUpperCase() as Winding;
  if ((clock % 2 === 1) !== isOdd(high, low)) {
    const expected = isOdd(high, low)
      ? 'an odd clock number (1, 3, 5, 7, 9 or 11)'
      : 'an even clock number (0, 2, 4, 6, 8 or 10)';
    return Object.freeze({
      ok: false,
      code: 'clock-does-not-fit',
      what: `${text}: ${clock} o'clock is not possible with these windings`,
      expected,
    });
  }
  return Object.freeze({ ok: true, group: text.trim(), high, low, clock });
}

/** A zigzag turns by 30 degrees against a star, as a delta does. */
const isOdd = (high: Winding, low: Winding): boolean => (high === 'Y') !== (low === 'Y');

/**
 * Low-voltage angle minus high-voltage angle of a vector group, -30 times the clock number, degrees in [-180, 180), phases in ABC order.
 * @throws RangeError when the text is not a vector group; parseVectorGroup tells without throwing
 * @example windingShiftDeg('Dyn1') // -30
 * @example windingShiftDeg('Dyn11') // 30
 */
export function windingShiftDeg(group: string): number {
  const parsed = parseVectorGroup(group);
  if (!parsed.ok) throw new RangeError(`${parsed.what}; expected ${parsed.expected}`);
  return wrap180(-30 * parsed.clock);
}

/**
 * Shift of a chain of transformers passed from high to low voltage, degrees in [-180, 180): the sum of their shifts. Where the
 * conductors arrive in reversed sequence the same windings turn the other way, so the sign is reversed.
 * @throws RangeError when a text is not a vector group
 * @example pathShiftDeg(['YNd1', 'Dyn1'], 'ABC') // -60
 * @example pathShiftDeg(['Dyn1'], 'ACB') // 30
 */
export function pathShiftDeg(groups: readonly string[], sequence: Sequence = 'ABC'): number {
  const sum = groups.reduce((total, group) => total + windingShiftDeg(group), 0);
  return wrap180(sequence === 'ABC' ? sum : -sum);
}

const CONNECTION_DEG: Readonly<Record<Connection, number>> = {
  'phase-neutral': 0,
  'phase-neutral-reversed': 180,
  'phase-phase': 30,
  'phase-phase-reversed': -150,
};

/**
 * Angle of what is measured between the ends of a connection, in [-180, 180) degrees, phase index 0 to neutral being zero.
 * Phase to phase is from the phase named to the one after it: A-B +30, B-C -90, C-A +150. The twelve are the twelve multiples of 30.
 * The second leg of a centre-tapped secondary is the reversed connection of the first.
 * @param phaseIndex 0, 1, 2 in the order in which the phases reach their crest
 * @throws RangeError for another index
 * @example connectionAngle(2, 'phase-phase') // 150
 */
export function connectionAngle(phaseIndex: number, connection: Connection): number {
  if (phaseIndex !== 0 && phaseIndex !== 1 && phaseIndex !== 2)
    throw new RangeError(`phaseIndex must be 0, 1 or 2, got ${phaseIndex}`);
  return wrap180(-120 * phaseIndex + CONNECTION_DEG[connection]);
}

/**
 * The nearest multiple of 30 degrees as a slot, 0 to 11: 0 at zero, 1 at +30 (leading), 11 at -30.
 * @example slotOf(-118.4) // 8
 */
export function slotOf(angleDeg: number): number {
  return Math.round(wrap360(angleDeg) / 30) % 12;
}

/**
 * Angle of a slot, in [-180, 180) degrees.
 * @example slotAngle(8) // -120
 */
export function slotAngle(slot: number): number {
  return wrap180(30 * slot);
}
