/**
 * What transformers and single-phase connections do to an angle.
 * Vector groups and clock numbers in the sense of IEC 60076-1: the clock number n says that the low-voltage side lags by 30 n degrees.
 */
import { wrap180, wrap360 } from './angle';
import type { Connection } from './records';

/** Order in which the phases reach their crest: ABC positive, ACB reversed. */
export type Sequence = 'ABC' | 'ACB';

/** Star, delta, zigzag, single-phase, autotransformer. */
export type Winding = 'Y' | 'D' | 'Z' | 'I' | 'A';

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

const FORM = /^(YN|Y|D|ZN|Z|I)(yn|y|d|zn|z|i|a)(\d{1,2})$/;
const EXPECTED =
  'an IEC 60076-1 vector group of two windings, high voltage first and in capitals, such as Dyn11, YNd1, Yy0, Dd6 or Ii6';

/**
 * Reads a vector group of two windings. The clock number of windings of the same kind (Yy, Dd, Dz) is even, of different kinds
 * (Dy, Yd, Yz) odd; of single-phase windings (Ii) it is 0 or 6, of an autotransformer (Ya, Ia) 0. Of three windings give each pair.
 * @example parseVectorGroup('Dyn11').clock // 11
 * @example parseVectorGroup('Dyn2').expected // 'an odd clock number (1, 3, 5, 7, 9 or 11)'
 */
export function parseVectorGroup(text: string): VectorGroup | NoVectorGroup {
  const m = FORM.exec(text.trim());
  if (!m || Number(m[3]) > 11)
    return noGroup('not-a-vector-group', `${JSON.stringify(text)} is not a vector group`, EXPECTED);
  const high = m[1]![0] as Winding;
  const low = m[2]![0]!.toUpperCase() as Winding;
  const clock = Number(m[3]);
  const allowed = clocksOf(high, low);
  if (!allowed) return noGroup('not-a-vector-group', `${text}: these windings do not make a vector group`, EXPECTED);
  if (allowed.clocks.includes(clock)) return Object.freeze({ ok: true, group: text.trim(), high, low, clock });
  return noGroup('clock-does-not-fit', `${text}: ${clock} o'clock is not possible with these windings`, allowed.said);
}

const noGroup = (code: NoVectorGroup['code'], what: string, expected: string): NoVectorGroup =>
  Object.freeze({ ok: false, code, what, expected });

interface Clocks {
  readonly clocks: readonly number[];
  readonly said: string;
}
const ODD: Clocks = { clocks: [1, 3, 5, 7, 9, 11], said: 'an odd clock number (1, 3, 5, 7, 9 or 11)' };
const EVEN: Clocks = { clocks: [0, 2, 4, 6, 8, 10], said: 'an even clock number (0, 2, 4, 6, 8 or 10)' };
const IN_LINE: Clocks = { clocks: [0, 6], said: 'clock number 0 or 6' };
const NONE: Clocks = { clocks: [0], said: 'clock number 0' };

function clocksOf(high: Winding, low: Winding): Clocks | undefined {
  if (low === 'A') return high === 'Y' || high === 'I' ? NONE : undefined;
  if (high === 'I' || low === 'I') return high === low ? IN_LINE : undefined;
  // A zigzag turns by 30 degrees against a star, as a delta does.
  return (high === 'Y') === (low === 'Y') ? EVEN : ODD;
}

/**
 * Low-voltage angle minus high-voltage angle of a vector group, -30 times the clock number, degrees in [-180, 180), phases in ABC order.
 * @throws RangeError when the text is not a vector group; parseVectorGroup tells without throwing
 * @example windingShiftDeg('Dyn1') // -30
 * @example windingShiftDeg('Dyn11') // 30
 */
export function windingShiftDeg(group: string): number {
  const parsed = parseVectorGroup(group);
  if (!parsed.ok) throw new RangeError(`${parsed.what}; expected ${parsed.expected}`);
  return wrap180(30 * (12 - parsed.clock));
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
  return wrap180(sequence === 'ABC' ? sum : 0 - sum);
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
