/**
 * Plane angles in degrees, counter-clockwise (lead) positive.
 * Directional statistics after K. V. Mardia and P. E. Jupp, Directional Statistics, 2000, ch. 2 (from memory).
 */

export const DEG = Math.PI / 180;

/**
 * The same direction in [-180, 180).
 * @param angleDeg any finite angle in degrees; NaN and infinities give NaN
 * @example wrap180(240) // -120
 * @example wrap180(180) // -180
 */
export function wrap180(angleDeg: number): number {
  if (angleDeg >= -180 && angleDeg < 180) return angleDeg;
  const turned = (angleDeg + 180) % 360;
  const wrapped = (turned < 0 ? turned + 360 : turned) - 180;
  return wrapped >= 180 ? -180 : wrapped;
}

/**
 * The same direction in [0, 360).
 * @example wrap360(-120) // 240
 */
export function wrap360(angleDeg: number): number {
  const wrapped = wrap180(angleDeg);
  return wrapped < 0 ? wrapped + 360 : wrapped;
}

/**
 * Signed angle from b to a, a minus b, in [-180, 180) degrees. Positive: a leads b.
 * @example difference(10, 350) // 20
 */
export function difference(aDeg: number, bDeg: number): number {
  return wrap180(aDeg - bDeg);
}

/**
 * Unsigned angle between two directions, in [0, 180] degrees.
 * @example separation(350, 10) // 20
 */
export function separation(aDeg: number, bDeg: number): number {
  return Math.abs(wrap180(aDeg - bDeg));
}

interface Resultant {
  readonly directionDeg: number;
  readonly length: number;
}

function resultant(anglesDeg: readonly number[], weights?: readonly number[]): Resultant {
  let x = 0;
  let y = 0;
  let total = 0;
  for (let i = 0; i < anglesDeg.length; i++) {
    const w = weights?.[i] ?? 1;
    x += w * Math.cos(anglesDeg[i]! * DEG);
    y += w * Math.sin(anglesDeg[i]! * DEG);
    total += w;
  }
  return { directionDeg: wrap180(Math.atan2(y, x) / DEG), length: Math.hypot(x, y) / total };
}

/** Below this mean resultant length a mean direction is rounding noise (1e-9 is far above double rounding, far below any data). */
const NO_DIRECTION = 1e-9;

/**
 * Mean direction in [-180, 180) degrees: the argument of the mean of e^{i angle}.
 * NaN when there is none: no angles, or angles that cancel, such as 0 and 180.
 * @param weights non-negative, one per angle; equal when left out
 * @example circularMean([350, 10]) // 0
 */
export function circularMean(anglesDeg: readonly number[], weights?: readonly number[]): number {
  const { directionDeg, length } = resultant(anglesDeg, weights);
  return length > NO_DIRECTION ? directionDeg : Number.NaN;
}

/**
 * Mean resultant length R = |mean of e^{i angle}|, 0 (spread all round) to 1 (all alike). NaN for no angles.
 * @example resultantLength([0, 180]) // 0
 */
export function resultantLength(anglesDeg: readonly number[], weights?: readonly number[]): number {
  return resultant(anglesDeg, weights).length;
}

/**
 * Circular standard deviation sqrt(-2 ln R) in degrees, 0 to infinity.
 * @example circularSd([-10, 10]) // ~10.0
 */
export function circularSd(anglesDeg: readonly number[], weights?: readonly number[]): number {
  const r = Math.min(1, resultantLength(anglesDeg, weights));
  return r > 0 ? Math.sqrt(-2 * Math.log(r)) / DEG : Number.POSITIVE_INFINITY;
}
