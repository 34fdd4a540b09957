/**
 * The measures of voltage unbalance. They are different figures and are never interchangeable: V2/V1 is not the line-voltage
 * deviation, and the deviation of line voltages is not that of phase voltages.
 */
import { symmetricalComponents } from './components';
import type { Phasor } from './phasor';

/**
 * Negative-sequence unbalance u2 = V2 / V1 in percent (IEC 61000-4-30), from three phasors in the order in which they reach their crest.
 * NaN when there is no positive sequence.
 * @example negativeSequenceUnbalance(phasor(1, 0), phasor(1, -120), phasor(1, 120)) // 0
 */
export function negativeSequenceUnbalance(a: Phasor, b: Phasor, c: Phasor): number {
  const { positive, negative } = symmetricalComponents(a, b, c);
  return positive.magnitude > 0 ? (100 * negative.magnitude) / positive.magnitude : Number.NaN;
}

/**
 * The same u2 in percent from the magnitudes of the three LINE voltages alone (IEC 61000-4-30, formula from memory):
 * beta = sum U^4 / (sum U^2)^2, u2 = sqrt((1 - sqrt(3 - 6 beta)) / (1 + sqrt(3 - 6 beta))).
 * Any zero sequence cancels in line voltages, so it does not matter. NaN when the three magnitudes cannot close a triangle.
 * @example negativeSequenceUnbalanceFromLines(460, 467, 450) // ~2.1465
 */
export function negativeSequenceUnbalanceFromLines(ab: number, bc: number, ca: number): number {
  if (!areMagnitudes(ab, bc, ca)) return Number.NaN;
  const squares = ab ** 2 + bc ** 2 + ca ** 2;
  const beta = (ab ** 4 + bc ** 4 + ca ** 4) / squares ** 2;
  // Equal lines give exactly 3 - 6 beta = 1; rounding must not push it past.
  const root = Math.sqrt(Math.min(1, 3 - 6 * beta));
  return 100 * Math.sqrt((1 - root) / (1 + root));
}

/**
 * Line-voltage unbalance in percent (NEMA MG-1, ANSI C84.1): largest deviation of a LINE voltage from their mean, over the mean.
 * NaN when a magnitude is negative or not finite, or all are zero.
 * @example lineVoltageUnbalance(460, 467, 450) // ~1.9608
 */
export function lineVoltageUnbalance(ab: number, bc: number, ca: number): number {
  return largestDeviationPct([ab, bc, ca]);
}

/**
 * Phase-voltage unbalance in percent (IEEE Std 112-1991, from memory): largest deviation of a PHASE voltage from their mean, over the mean.
 * Zero sequence counts in it, so it is no substitute for the line figure: 4.6 % beside 1.7 % at one bus of the IEEE 13-node feeder.
 * @example phaseVoltageUnbalance(100, 100, 106) // ~3.92
 */
export function phaseVoltageUnbalance(a: number, b: number, c: number): number {
  return largestDeviationPct([a, b, c]);
}

const areMagnitudes = (...values: readonly number[]): boolean => values.every((v) => v >= 0 && Number.isFinite(v));

function largestDeviationPct(magnitudes: readonly number[]): number {
  if (!areMagnitudes(...magnitudes)) return Number.NaN;
  const mean = magnitudes.reduce((t, v) => t + v, 0) / magnitudes.length;
  return (100 * Math.max(...magnitudes.map((v) => Math.abs(v - mean)))) / mean;
}

/** NEMA MG-1 derating of motors by line-voltage unbalance, read off its curve (2 and 3 % as published, the rest from memory). */
const DERATING: readonly (readonly [pct: number, factor: number])[] = [
  [0, 1],
  [1, 0.99],
  [2, 0.95],
  [3, 0.9],
  [4, 0.82],
  [5, 0.75],
];

/**
 * What an induction motor may be loaded to, as a share of its rating, at a line-voltage unbalance in percent (NEMA MG-1). Linear between
 * the points of the curve; null above 5 %, where MG-1 does not recommend operation.
 * @example deratingFactor(3) // 0.9
 * @example deratingFactor(6) // null
 */
export function deratingFactor(lineUnbalancePct: number): number | null {
  if (!(lineUnbalancePct >= 0 && lineUnbalancePct <= 5)) return null;
  const i = Math.min(DERATING.length - 2, Math.floor(lineUnbalancePct));
  const [pct, factor] = DERATING[i]!;
  return factor + (lineUnbalancePct - pct) * (DERATING[i + 1]![1] - factor);
}
