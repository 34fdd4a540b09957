/** How likely several angles of one visit are together, when they share an error that is integrated out. */
import { LEAST_GROSS_RATE } from './likelihood';

const SQRT_2PI = Math.sqrt(2 * Math.PI);

/**
 * Density of residuals r_k = b + e_k, b ~ N(0, commonSd^2) common to all, e_k ~ N(0, sd_k^2), where each reading is
 * with probability `grossErrorRate` simply wrong (uniform, 1/360 per degree). The common error is integrated in closed
 * form for each of the 2^K ways to say which readings are sound, so no grid is needed:
 *   sum over G of prod_{G}(1-g)/(sd sqrt(2 pi)) * prod_{not G} g/360 * (1 + c^2 L)^(-1/2) * exp(-(Q - A^2 c^2/(1 + c^2 L))/2),
 *   L = sum 1/sd^2, A = sum r/sd^2, Q = sum r^2/sd^2 over G.
 * @param residualDeg wrapped to [-180, 180); the turns of the wrapped normal are left out, so sd up to about 30 degrees
 * @param count how many of the residuals to use, 1 to 3
 */
export function jointLikelihood(
  residualDeg: ArrayLike<number>,
  sdDeg: ArrayLike<number>,
  count: number,
  commonSdDeg: number,
  grossErrorRate: number,
): number {
  const gross = Math.max(grossErrorRate, LEAST_GROSS_RATE);
  const commonVariance = commonSdDeg * commonSdDeg;
  let total = 0;
  for (let sound = 0; sound < 1 << count; sound++) {
    let density = 1;
    let precision = 0;
    let pull = 0;
    let square = 0;
    for (let k = 0; k < count; k++) {
      if ((sound & (1 << k)) === 0) {
        density *= gross / 360;
        continue;
      }
      const sd = sdDeg[k]!;
      const r = residualDeg[k]! / sd;
      density *= (1 - gross) / (sd * SQRT_2PI);
      precision += 1 / (sd * sd);
      pull += r / sd;
      square += r * r;
    }
    total += density * commonFactor(precision, pull, square, commonVariance);
  }
  return total;
}

function commonFactor(precision: number, pull: number, square: number, commonVariance: number): number {
  if (precision === 0) return 1;
  const widened = 1 + commonVariance * precision;
  return Math.exp(((pull * pull * commonVariance) / widened - square) / 2) / Math.sqrt(widened);
}
