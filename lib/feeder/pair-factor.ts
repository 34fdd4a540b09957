/** What ties two sections of a feeder together besides the tree: loops through closed switches, measured ties. */
import { SHIFTS, slotOn } from './evidence';
import { STATES } from './permutation';

/** A statement on how the conductors of two sections stand to each other. */
export interface PairFactor {
  readonly id: string;
  readonly a: number;
  readonly b: number;
  /** weight where the windings have turned a by d steps of 30 degrees more than b: [36 d + 6 (permutation of a) + permutation of b] */
  readonly table: Float64Array;
  /** steps of 30 degrees by which a stands ahead of b, multiples of 120 degrees apart */
  readonly ahead: number;
}

const PAIRS = STATES * STATES;

/** Place in the table of a pair of permutations, each at a shift from the source in steps of 30 degrees. */
export const placeOf = (s: number, shiftA: number, t: number, shiftB: number): number =>
  PAIRS * ((shiftA - shiftB + SHIFTS) % SHIFTS) + STATES * s + t;

export interface Stated {
  /** conductor of a, conductor of b */
  readonly pairs: readonly (readonly [number, number])[];
  /** steps of 30 degrees by which that of a stands ahead of that of b */
  readonly ahead: number;
  /** weight where every pair stands so, and where one does not */
  readonly fits: number;
  readonly else: number;
}

/** Angles are compared, not permutations alone: behind windings that turn, the same permutation stands elsewhere. */
export function pairFactor(id: string, a: number, b: number, stated: Stated): PairFactor {
  const ahead = (stated.ahead + SHIFTS) % SHIFTS;
  const table = Float64Array.from({ length: PAIRS * SHIFTS }, (_, i) => {
    const [d, s, t] = [Math.floor(i / PAIRS), Math.floor(i / STATES) % STATES, i % STATES];
    const stands = stated.pairs.every(([j, k]) => (slotOn(s, j, d) - slotOn(t, k, 0) + SHIFTS) % SHIFTS === ahead);
    return stands ? stated.fits : stated.else;
  });
  return { id, a, b, table, ahead };
}

/**
 * Two sections that are one set of conductors: what both have present must stand at the same angle.
 * A closed loop that does not close so would be a standing short circuit.
 */
export const sameConductors = (id: string, a: number, b: number, mask: number): PairFactor => {
  const pairs = [0, 1, 2].filter((j) => (mask >> j) & 1).map((j) => [j, j] as const);
  return pairFactor(id, a, b, { pairs, ahead: 0, fits: 1, else: 0 });
};

/**
 * Whether windings that turn a by d steps more than b leave it possible: they turn by what was stated, and the order of the conductors is the
 * rest of it, or the order on record fits.
 */
export function mayMeet({ table, ahead }: PairFactor, d: number): boolean {
  const turned = (d + SHIFTS) % SHIFTS;
  const least = table.reduce((x, y) => Math.min(x, y), Number.POSITIVE_INFINITY);
  return turned === ahead || table[placeOf(0, turned, 0, 0)]! > least;
}
