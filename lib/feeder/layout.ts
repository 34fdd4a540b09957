/**
 * Where transformers turn the angle, the state of a section is (permutation, shift from the source in steps of 30 degrees): the sign of
 * a winding's shift follows the sequence at the winding, so the shift is not known from the section's own permutation. Only shifts
 * that can be reached are kept.
 */

import { SHIFTS } from './evidence';
import type { FeederTree } from './model';
import { STATES } from './permutation';

/** Through a winding, from a slice of the section above to a slice of this one. */
export interface Turn {
  readonly from: number;
  /** true: for permutations above that keep the sequence */
  readonly even: boolean;
  readonly to: number;
  readonly probability: number;
}

export interface Layout {
  /** shifts of each section; six states a slice */
  readonly shifts: readonly (readonly number[])[];
  /** first state of each section */
  readonly at: Int32Array;
  /** first number of each section's message to the one above, in the states of that one */
  readonly upAt: Int32Array;
  readonly states: number;
  readonly messages: number;
  readonly turns: ReadonlyMap<number, readonly Turn[]>;
}

export function layoutOf(tree: FeederTree): Layout {
  const shifts: (readonly number[])[] = [[0]];
  const at = new Int32Array(tree.count);
  const upAt = new Int32Array(tree.count);
  const turns = new Map<number, readonly Turn[]>();
  let states = STATES;
  let messages = 0;
  for (let v = 1; v < tree.count; v++) {
    const above = shifts[tree.parent[v]!]!;
    const clocks = tree.windings.get(v);
    let own = above;
    if (clocks) {
      const routes = above.flatMap((shift, from) =>
        clocks.flatMap(({ n, probability }) =>
          [true, false].map((even) => ({ from, even, shift: turned(shift, even ? n : -n), probability })),
        ),
      );
      own = [...new Set(routes.map((r) => r.shift))].sort((a, b) => a - b);
      turns.set(
        v,
        routes.map(({ from, even, shift, probability }) => ({ from, even, to: own.indexOf(shift), probability })),
      );
    }
    shifts.push(own);
    at[v] = states;
    upAt[v] = messages;
    states += STATES * own.length;
    messages += STATES * above.length;
  }
  return { shifts, at, upAt, states, messages, turns };
}

/** A clock number n puts the secondary 30 n degrees behind. */
const turned = (shift: number, n: number): number => (((shift - n) % SHIFTS) + SHIFTS) % SHIFTS;
