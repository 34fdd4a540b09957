/** The numeric core of a site: which arrangement of phases its conductors show, an error common to all integrated out. */
import { jointLikelihood } from './joint-likelihood';

/** Phase index of each conductor for the six arrangements; the first three keep the sequence, the last three reverse it. */
export const ARRANGEMENTS = [
  [0, 1, 2],
  [1, 2, 0],
  [2, 0, 1],
  [0, 2, 1],
  [2, 1, 0],
  [1, 0, 2],
] as const;

const residual = new Float64Array(3);

/**
 * Adds to `likelihood` that of each arrangement of two or three conductors.
 * @param angleDeg mean angle of each conductor, any turn
 * @param expectedDeg expected angle by conductor and phase: expectedDeg[3 * conductor + phase]
 * @param sdDeg standard uncertainty of each conductor's own angle
 * @param count conductors, 2 or 3; with 2 the third place of an arrangement is empty
 * @param commonSdDeg standard uncertainty of the error all share
 * @param from first arrangement to score, `to` one past the last: 0, 3 the sequence kept; 3, 6 reversed
 */
export function scoreSite(
  angleDeg: ArrayLike<number>,
  expectedDeg: ArrayLike<number>,
  sdDeg: ArrayLike<number>,
  count: number,
  commonSdDeg: number,
  grossErrorRate: number,
  weight: number,
  likelihood: Float64Array,
  from = 0,
  to = 6,
): void {
  for (let a = from; a < to; a++) {
    const arrangement = ARRANGEMENTS[a]!;
    for (let k = 0; k < count; k++) {
      const x = angleDeg[k]! - expectedDeg[3 * k + arrangement[k]!]!;
      residual[k] = x - 360 * Math.floor((x + 180) / 360);
    }
    likelihood[a]! += weight * jointLikelihood(residual, sdDeg, count, commonSdDeg, grossErrorRate);
  }
}
