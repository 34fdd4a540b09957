/** Confidence limits of a proportion, two-sided 95 %. */

const Z = 1.959964;
/** Up to this count the exact limits are worth their sum. */
const EXACT_UPTO = 60;

/**
 * Clopper and Pearson (exact) when few or nearly all of the trials count, else Wilson. From memory; checked against
 * the closed forms for none and all of n in the test beside this.
 */
export function limits(count: number, trials: number): { readonly lower: number; readonly upper: number } {
  if (trials - count < count && trials - count <= EXACT_UPTO) {
    const { lower, upper } = limits(trials - count, trials);
    return { lower: 1 - upper, upper: 1 - lower };
  }
  return count <= EXACT_UPTO ? clopperPearson(count, trials) : wilson(count, trials);
}

/**
 * Limits of a share whose trials come in draws, each of which errs as a whole: the ratio estimate of a cluster sample (W. G. Cochran,
 * Sampling Techniques, 1977, from memory). Needs many draws.
 */
export function limitsOverDraws(draws: readonly { readonly count: number; readonly trials: number }[]) {
  const trials = draws.reduce((sum, d) => sum + d.trials, 0);
  const share = draws.reduce((sum, d) => sum + d.count, 0) / trials;
  const squares = draws.reduce((sum, d) => sum + (d.count - share * d.trials) ** 2, 0);
  const half = (Z * Math.sqrt((squares * draws.length) / (draws.length - 1))) / trials;
  return { lower: Math.max(0, share - half), upper: Math.min(1, share + half) };
}

function wilson(count: number, n: number) {
  const p = count / n;
  const centre = (p + Z ** 2 / (2 * n)) / (1 + Z ** 2 / n);
  const half = (Z / (1 + Z ** 2 / n)) * Math.sqrt((p * (1 - p)) / n + Z ** 2 / (4 * n ** 2));
  return { lower: centre - half, upper: centre + half };
}

function clopperPearson(count: number, n: number) {
  const upper = bisect((p) => atMost(count, n, p) - 0.025);
  const lower = count === 0 ? 0 : bisect((p) => 0.975 - atMost(count - 1, n, p), true);
  return { lower, upper };
}

/** P(X <= count) of a binomial, summed in logarithms. */
function atMost(count: number, n: number, p: number): number {
  let log = n * Math.log1p(-p);
  let sum = Math.exp(log);
  for (let k = 1; k <= count; k++) {
    log += Math.log(((n - k + 1) / k) * (p / (1 - p)));
    sum += Math.exp(log);
  }
  return sum;
}

function bisect(f: (p: number) => number, rising = false): number {
  let [low, high] = [0, 1];
  for (let i = 0; i < 100; i++) {
    const middle = (low + high) / 2;
    if (f(middle) > 0 !== rising) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}
