/**
 * How likely an angle is under a stated expectation.
 * Wrapped normal after K. V. Mardia and P. E. Jupp, Directional Statistics, 2000, ch. 3 (from memory).
 */
import { wrap180 } from './angle';

const SQRT_2PI = Math.sqrt(2 * Math.PI);

/** From here on the turns of a wrapped normal overlap by more than 1e-9 of its crest. */
const OVERLAP_SD_DEG = 25;

/** Chi-square limits that one in a thousand sound cases exceeds, by degrees of freedom; -2 ln 0.001 for 2 (13.8). */
export const CHI2_ONE_IN_1000 = [0, 10.828, 13.816] as const;

/** Two-sided normal quantile that one in a thousand sound cases exceeds. */
export const Z_ONE_IN_1000 = 3.29;

/**
 * Density of the wrapped normal, per degree: the sum over k of N(x + 360 k; 0, sd), k = -2..2.
 * @param deviationDeg any finite angle from the mean, degrees
 * @param sdDeg above 0 and up to 150 degrees; past that five turns are too few
 * @example wrappedNormal(0, 10) // ~0.039894
 * @example wrappedNormal(350, 10) // ~0.024197
 */
export function wrappedNormal(deviationDeg: number, sdDeg: number): number {
  const x = wrap180(deviationDeg);
  const q = 1 / (2 * sdDeg * sdDeg);
  let sum = Math.exp(-x * x * q);
  if (sdDeg > OVERLAP_SD_DEG) {
    for (let turn = 360; turn <= 720; turn += 360) {
      sum += Math.exp(-(x + turn) * (x + turn) * q) + Math.exp(-(x - turn) * (x - turn) * q);
    }
  }
  return sum / (sdDeg * SQRT_2PI);
}

/**
 * Density of a reading that is sound with probability 1 - rate and otherwise points anywhere: (1 - rate) WN + rate / 360, per degree.
 * @param grossErrorRate 0 to 1; never taken as less than 1e-9, so that no evidence is ever absolute
 * @example flooredNormal(180, 2, 0.36) // 0.001
 */
export function flooredNormal(deviationDeg: number, sdDeg: number, grossErrorRate: number): number {
  const rate = Math.max(grossErrorRate, LEAST_GROSS_RATE);
  return (1 - rate) * wrappedNormal(deviationDeg, sdDeg) + rate / 360;
}

/** No evidence is ever absolute: the least probability of a gross error that is reckoned with. */
export const LEAST_GROSS_RATE = 1e-9;

/**
 * Weight of a measured voltage under an expected one: exp(-ln(V/Vexpected)^2 / (2 sd^2)) + 1e-6. Not a density: only ratios matter.
 * @param relativeSd standard uncertainty of ln V, 0.05 for 5 %
 * @example magnitudeWeight(7200, 7200, 0.05) // 1.000001
 */
export function magnitudeWeight(voltageV: number, expectedV: number, relativeSd: number): number {
  const z = Math.log(voltageV / expectedV) / relativeSd;
  return Math.exp((-z * z) / 2) + 1e-6;
}
