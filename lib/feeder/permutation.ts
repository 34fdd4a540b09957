/**
 * The six ways in which three recorded conductors can stand on three phases.
 * Permutation s maps the recorded conductor j to the physical phase s(j). 0 to 2 keep the phase sequence (nothing, two rolls),
 * 3 to 5 reverse it (three swaps).
 */
export const PERMUTATIONS: readonly (readonly [number, number, number])[] = [
  [0, 1, 2],
  [1, 2, 0],
  [2, 0, 1],
  [1, 0, 2],
  [2, 1, 0],
  [0, 2, 1],
];

export const IDENTITY = 0;
/** Number of permutations, and so of states of one section. */
export const STATES = 6;

/**
 * +1 when the permutation keeps the phase sequence, -1 when it reverses it.
 * @example parity(1) // 1
 * @example parity(4) // -1
 */
export const parity = (s: number): 1 | -1 => (s < 3 ? 1 : -1);

/** Index of the permutation with these images; -1 when they are not a permutation of 0, 1, 2. */
export const permutationIndex = (images: readonly number[]): number =>
  PERMUTATIONS.findIndex((p) => p[0] === images[0] && p[1] === images[1] && p[2] === images[2]);

const phaseOf = (s: number, conductor: number): number => (PERMUTATIONS[s] as readonly number[])[conductor] as number;

const COMPOSED: readonly number[] = PERMUTATIONS.flatMap((_, t) =>
  PERMUTATIONS.map((_p, s) => permutationIndex([0, 1, 2].map((j) => phaseOf(t, phaseOf(s, j))))),
);

/**
 * First s, then t: (t o s)(j) = t(s(j)).
 * @example compose(1, 2) // 0
 */
export const compose = (t: number, s: number): number => COMPOSED[t * STATES + s] as number;

/**
 * Physical phase (0, 1, 2) of a recorded conductor.
 * @example image(3, 0) // 1
 */
export const image = (s: number, conductor: number): number => phaseOf(s, conductor);

/**
 * What the permutation does to the conductors present (bit j of the mask: conductor j), as one number: equal numbers, equal phases.
 * Two permutations that differ only in an absent conductor cannot be told apart, and need not be.
 * @example projection(0, 1) === projection(5, 1) // true
 */
export function projection(s: number, mask: number): number {
  let code = 0;
  for (let j = 0; j < 3; j++) code = code * 4 + ((mask >> j) & 1 ? phaseOf(s, j) + 1 : 0);
  return code;
}

/**
 * For each mask of conductors present, [6 mask + s]: the other permutation that puts them on the same phases; -1 when there is none.
 * Only one conductor by itself has one, since two conductors settle the third. A change to it cannot be seen there, and matters to nobody.
 */
export const ALIKE: Int8Array = Int8Array.from({ length: 8 * STATES }, (_, i) => {
  const [mask, s] = [Math.floor(i / STATES), i % STATES];
  const other = (t: number) => t !== s && projection(t, mask) === projection(s, mask);
  return [1, 2, 4].includes(mask) ? PERMUTATIONS.findIndex((_p, t) => other(t)) : -1;
});

/**
 * The change in words: nothing, a roll (sequence kept) or the two conductors swapped.
 * @example changeName(3, ['A', 'B', 'C']) // 'A and B swapped'
 */
export function changeName(s: number, phases: readonly string[]): string {
  if (s === IDENTITY) return 'no change';
  if (parity(s) > 0) return `rolled: ${phases.map((p, j) => `${p} on ${phases[phaseOf(s, j)]}`).join(', ')}`;
  const moved = phases.filter((_, j) => phaseOf(s, j) !== j);
  return `${moved.join(' and ')} swapped`;
}
