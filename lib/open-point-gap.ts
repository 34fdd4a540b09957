/** The voltage across an open gap between two conductors. */
import { DEG, separation } from './angle';
import { Z_ONE_IN_1000 } from './likelihood';
import type { Terminal } from './network';
import type { Reading, Reason } from './records';

export interface Gap {
  readonly gapV: number;
  /** not exceeded in more than one of a thousand sound cases */
  readonly gapUpperV: number;
}

/**
 * |V1 - V2| = sqrt(V1^2 + V2^2 - 2 V1 V2 cos d), volts, and an upper bound from |d| + z sd and |V1 - V2| + z sd, z = 3.29.
 * The bound takes the worst of each at once: near d = 0 a first-order uncertainty would be too small.
 * @param angleDeg angle between the two voltages, degrees
 * @param voltageSdV standard uncertainty of each voltage, volts
 * @example gapVoltage(1, 1, 60, 0, 0).gapV // 1
 * @example gapVoltage(1.05, 0.97, 10, 0, 0).gapV // ~0.193
 */
export function gapVoltage(v1: number, v2: number, angleDeg: number, angleSdDeg: number, voltageSdV: number): Gap {
  const apart = separation(angleDeg, 0);
  const furthest = Math.min(180, apart + Z_ONE_IN_1000 * angleSdDeg);
  const differenceV = Math.abs(v1 - v2) + Z_ONE_IN_1000 * Math.SQRT2 * voltageSdV;
  const [high1, high2] = [v1, v2].map((v) => v + Z_ONE_IN_1000 * voltageSdV) as [number, number];
  return { gapV: across(v1 - v2, v1 * v2, apart), gapUpperV: across(differenceV, high1 * high2, furthest) };
}

/** (V1 - V2)^2 + 4 V1 V2 sin^2(d/2): the law of cosines without the cancellation near d = 0. */
function across(differenceV: number, product: number, apartDeg: number): number {
  return Math.sqrt(differenceV ** 2 + 4 * product * Math.sin((apartDeg * DEG) / 2) ** 2);
}

export type PairGap = Gap | { readonly reason: Reason };

/** Two voltages that differ by more than this factor are not of one level. */
const LEVEL_RATIO = 1.25;

/** The gap of two readings, or why it has none: not in contact, of different levels, or of different kinds. */
export function pairGap(
  left: { readonly reading: Reading; readonly terminal: Terminal | undefined },
  right: { readonly reading: Reading; readonly terminal: Terminal | undefined },
  angleDeg: number,
  angleSdDeg: number,
  voltageRelSd: number,
): PairGap {
  const [v1, v2] = [left.reading.voltageV, right.reading.voltageV];
  if (v1 === undefined || v2 === undefined) return { reason: NO_VOLTAGES };
  if (left.reading.coupling !== 'contact' || right.reading.coupling !== 'contact') return { reason: NOT_IN_CONTACT };
  const [n1, n2] = [left.terminal?.nominalV, right.terminal?.nominalV];
  const levelsDiffer = n1 && n2 ? n1 !== n2 : Math.max(v1, v2) > LEVEL_RATIO * Math.min(v1, v2);
  if (levelsDiffer || left.reading.voltageIs !== right.reading.voltageIs) return { reason: LEVELS_DIFFER };
  return gapVoltage(v1, v2, angleDeg, angleSdDeg, voltageRelSd * Math.max(v1, v2));
}

const NO_VOLTAGES: Reason = Object.freeze({
  code: 'gap-voltage-unread',
  why: 'no gap voltage: the voltage was not read on both sides',
  settle: 'read the voltage on both sides, in contact',
});
const NOT_IN_CONTACT: Reason = Object.freeze({
  code: 'gap-voltage-not-in-contact',
  why: 'no gap voltage, angle only: a voltage was not read in contact, so its ratio is not known',
  settle: 'read the voltage on both sides, in contact',
});
const LEVELS_DIFFER: Reason = Object.freeze({
  code: 'gap-voltage-levels-differ',
  why: 'no gap voltage, angle only: the two sides are of different nominal voltage or were read in different ways',
  settle: 'read both sides at the same level and in the same way',
});
