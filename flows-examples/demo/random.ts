/** Seeded chance: the same seed tells the same story. */

export interface Chance {
  /** uniform in [0, 1) */
  uniform(): number;
  /** normal with mean 0 and standard deviation 1 */
  normal(): number;
}

/** mulberry32 and Box-Muller, both public domain. */
export function chance(seed: number): Chance {
  let state = seed >>> 0;
  const uniform = () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = state;
    t = Math.imul(t ^ (t >>> 15), t | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return ((t ^ (t >>> 14)) >>> 0) / 2 ** 32;
  };
  const normal = () => Math.sqrt(-2 * Math.log(1 - uniform())) * Math.cos(2 * Math.PI * uniform());
  return { uniform, normal };
}
