/** How alike two voltage series move, and how much that is worth. */

/** Steps between neighbouring values; NaN where either is missing. A slow drift of both would else look like kinship. */
export const steps = (series: readonly (number | null)[]): Float64Array =>
  Float64Array.from({ length: Math.max(0, series.length - 1) }, (_, i) => {
    const [a, b] = [series[i], series[i + 1]];
    return typeof a === 'number' && typeof b === 'number' ? b - a : Number.NaN;
  });

export interface Correlation {
  /** Pearson's coefficient; 0 where one series does not move at all */
  readonly r: number;
  /** pairs that both have */
  readonly n: number;
}

/** Pearson's correlation over the places where both have a number. */
export function correlation(a: ArrayLike<number>, b: ArrayLike<number>): Correlation {
  let [n, sumA, sumB, sumAA, sumBB, sumAB] = [0, 0, 0, 0, 0, 0];
  for (let i = 0; i < Math.min(a.length, b.length); i++) {
    const [x, y] = [a[i]!, b[i]!];
    if (!Number.isFinite(x) || !Number.isFinite(y)) continue;
    n++;
    sumA += x;
    sumB += y;
    sumAA += x * x;
    sumBB += y * y;
    sumAB += x * y;
  }
  const spread = (n * sumAA - sumA * sumA) * (n * sumBB - sumB * sumB);
  return { r: spread > 0 ? (n * sumAB - sumA * sumB) / Math.sqrt(spread) : 0, n };
}

/** Correlation of a series with itself one step later. */
export const lagOne = (a: Float64Array): number => correlation(a.subarray(0, a.length - 1), a.subarray(1)).r;

/**
 * How many independent pairs n pairs of two series are worth, each with the correlation of neighbours given; never more than n.
 * n (1 - p q) / (1 + p q): M. S. Bartlett, 1935 (from memory).
 * @example effectivePairs(100, 0.5, 0.5) // 60
 * @example effectivePairs(100, -0.5, 0.5) // 100
 */
export const effectivePairs = (n: number, p: number, q: number): number => Math.min(n, (n * (1 - p * q)) / (1 + p * q));
