/** Chance with a seed: the same numbers on every machine. */

export interface Chance {
  /** uniform in [0, 1) */
  uniform(): number;
  /** standard normal */
  normal(): number;
  /** whole number in 0..n-1 */
  below(n: number): number;
  /** index drawn with these probabilities, which sum to one */
  index(probabilities: ArrayLike<number>): number;
}

/** Mulberry32 (public domain, T. Ettinger) and the polar method of Marsaglia and Bray. */
export function chance(seed: number): Chance {
  let state = seed >>> 0;
  let spare: number | undefined;
  const uniform = () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = state;
    t = Math.imul(t ^ (t >>> 15), t | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
  const normal = (): number => {
    if (spare !== undefined) {
      const kept = spare;
      spare = undefined;
      return kept;
    }
    for (;;) {
      const u = 2 * uniform() - 1;
      const v = 2 * uniform() - 1;
      const s = u * u + v * v;
      if (s > 0 && s < 1) {
        const f = Math.sqrt((-2 * Math.log(s)) / s);
        spare = v * f;
        return u * f;
      }
    }
  };
  const index = (probabilities: ArrayLike<number>): number => {
    let rest = uniform();
    for (let i = 0; i < probabilities.length - 1; i++) {
      rest -= probabilities[i]!;
      if (rest < 0) return i;
    }
    return probabilities.length - 1;
  };
  return { uniform, normal, below: (n) => Math.floor(uniform() * n), index };
}
