/** Products of many likelihoods, kept within what a number can hold. */

/** Beside the most probable state nothing is told apart below this. */
const LEAST = 1e-200;
const LARGE = 1e60;

/**
 * Brings the numbers of one section back near one where they have run far from it; what is impossible stays so.
 * @returns ln of what was divided by
 */
export function level(numbers: Float64Array, at: number, size: number): number {
  let most = 0;
  let least = Number.POSITIVE_INFINITY;
  for (let j = at; j < at + size; j++) {
    const x = numbers[j]!;
    if (x > most) most = x;
    if (x > 0 && x < least) least = x;
  }
  if (most < LARGE && most > 1 / LARGE && least > LEAST) return 0;
  for (let j = at; j < at + size; j++) if (numbers[j]! > 0) numbers[j] = Math.max(LEAST, numbers[j]! / most);
  return Math.log(most);
}
