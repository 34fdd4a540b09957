/**
 * How a permutation passes from one section to the next: unchanged with probability 1 - p; given a change, each of the two others
 * of the same parity with .08 and each of the three of the opposite parity with .28. Depends on s_v o s_u^-1 only through its class,
 * so it is symmetric and needs no more than the two parity sums.
 */

/** Probability of one of the two rolls, given a change. Common practice, no source: two legs are swapped more often than all three rolled. */
export const ROLL = 0.08;
/** Probability of one of the three swaps, given a change. */
export const SWAP = 0.28;
/** A change is never impossible: messages stay above zero and may be divided by. */
export const LEAST_CHANGE = 1e-9;

export const clampChange = (p: number): number => Math.max(p, LEAST_CHANGE);

/**
 * Probability that the section below stands at t when the one above stands at s.
 * @example passes(0.02, 0, 0) // 0.98
 * @example passes(0.02, 0, 3) // 0.0056
 */
export const passes = (p: number, s: number, t: number): number =>
  s === t ? 1 - p : p * (s < 3 === t < 3 ? ROLL : SWAP);

export type Spread = (p: number, from: Float64Array, at: number, to: Float64Array, toAt: number) => void;

/** to[t] = sum over s of passes(p, s, t) from[s], six numbers each. */
export const spreadSum: Spread = (p, from, at, to, toAt) => {
  const even = from[at]! + from[at + 1]! + from[at + 2]!;
  const odd = from[at + 3]! + from[at + 4]! + from[at + 5]!;
  const stay = 1 - p - p * ROLL;
  const toEven = p * (ROLL * even + SWAP * odd);
  const toOdd = p * (ROLL * odd + SWAP * even);
  for (let s = 0; s < 3; s++) to[toAt + s] = stay * from[at + s]! + toEven;
  for (let s = 3; s < 6; s++) to[toAt + s] = stay * from[at + s]! + toOdd;
};

/** to[t] = greatest over s of passes(p, s, t) from[s]. The prior of a change must leave staying the likeliest: p below 0.78. */
export const spreadMax: Spread = (p, from, at, to, toAt) => {
  const even = Math.max(from[at]!, from[at + 1]!, from[at + 2]!);
  const odd = Math.max(from[at + 3]!, from[at + 4]!, from[at + 5]!);
  const toEven = p * Math.max(ROLL * even, SWAP * odd);
  const toOdd = p * Math.max(ROLL * odd, SWAP * even);
  for (let s = 0; s < 3; s++) to[toAt + s] = Math.max((1 - p) * from[at + s]!, toEven);
  for (let s = 3; s < 6; s++) to[toAt + s] = Math.max((1 - p) * from[at + s]!, toOdd);
};
