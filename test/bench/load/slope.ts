/** A straight line through samples by least squares, with the 95 % confidence limits of its slope. */

export interface Slope {
  readonly perUnit: number;
  readonly low: number;
  readonly high: number;
}

/**
 * Student's t for 95 % two-sided, by degrees of freedom: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2 (0.975 column).
 * Between the entries the next smaller one is used, which makes the limits wider.
 */
const STUDENT_T = [
  [1, 12.706],
  [2, 4.303],
  [3, 3.182],
  [4, 2.776],
  [5, 2.571],
  [6, 2.447],
  [8, 2.306],
  [10, 2.228],
  [15, 2.131],
  [20, 2.086],
  [30, 2.042],
  [40, 2.021],
  [60, 2.0],
  [100, 1.984],
] as const;

/**
 * slope = Sxy / Sxx; its standard error = sqrt(SSE / (n - 2) / Sxx). Samples in time are not independent, so the true limits are
 * somewhat wider. With fewer than three points the limits are infinite.
 */
export function slopeOf(points: readonly (readonly [x: number, y: number])[]): Slope {
  const n = points.length;
  const meanX = points.reduce((sum, [x]) => sum + x, 0) / n;
  const meanY = points.reduce((sum, [, y]) => sum + y, 0) / n;
  const sxx = points.reduce((sum, [x]) => sum + (x - meanX) ** 2, 0);
  const perUnit = points.reduce((sum, [x, y]) => sum + (x - meanX) * (y - meanY), 0) / sxx;
  if (n < 3) return { perUnit, low: Number.NEGATIVE_INFINITY, high: Number.POSITIVE_INFINITY };
  const sse = points.reduce((sum, [x, y]) => sum + (y - meanY - perUnit * (x - meanX)) ** 2, 0);
  const t = STUDENT_T.findLast(([freedom]) => freedom <= n - 2)![1];
  const half = t * Math.sqrt(sse / (n - 2) / sxx);
  return { perUnit, low: perUnit - half, high: perUnit + half };
}
