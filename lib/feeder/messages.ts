/** Messages between a section and the one that feeds it, with or without a winding between them. */
import { clampChange, type Spread, SWAP, spreadMax, spreadSum } from './kernel';
import type { Layout, Turn } from './layout';
import type { FeederTree } from './model';
import { ALIKE, STATES } from './permutation';

/** sum: probabilities; max: the most probable joint state. */
export type Rule = 'sum' | 'max';

export interface Messages {
  /** from the states of v at `at` in `from` to the states of the section above at `toAt` in `to` */
  up(v: number, from: Float64Array, at: number, to: Float64Array, toAt: number): void;
  /** from the states of the section above to the states of v */
  down(v: number, from: Float64Array, at: number, to: Float64Array, toAt: number): void;
  /** probability above in `cavity`, carried through the winding but not through a change that can be seen, times `below` at `at`, summed */
  unchanged(v: number, cavity: Float64Array, below: Float64Array, at: number): number;
}

export function messagesOf(tree: FeederTree, layout: Layout, rule: Rule): Messages {
  const spread: Spread = rule === 'sum' ? spreadSum : spreadMax;
  const join = rule === 'sum' ? (a: number, b: number) => a + b : Math.max;
  const buffer = new Float64Array(STATES * 12);
  const slices = (v: number) => layout.shifts[v]!.length;

  /** Carries states of the section above through the winding. */
  function through(v: number, turns: readonly Turn[], from: Float64Array, at: number): void {
    buffer.fill(0, 0, STATES * slices(v));
    for (const t of turns) {
      const first = t.even ? 0 : 3;
      for (let s = first; s < first + 3; s++) {
        const i = STATES * t.to + s;
        buffer[i] = join(buffer[i]!, t.probability * from[at + STATES * t.from + s]!);
      }
    }
  }

  return {
    up(v, from, at, to, toAt) {
      const p = clampChange(tree.changePrior[v]!);
      const turns = layout.turns.get(v);
      const own = slices(v);
      if (!turns) {
        for (let k = 0; k < own; k++) spread(p, from, at + STATES * k, to, toAt + STATES * k);
        return;
      }
      for (let k = 0; k < own; k++) spread(p, from, at + STATES * k, buffer, STATES * k);
      to.fill(0, toAt, toAt + STATES * slices(tree.parent[v]!));
      for (const t of turns) {
        const first = t.even ? 0 : 3;
        for (let s = first; s < first + 3; s++) {
          const i = toAt + STATES * t.from + s;
          to[i] = join(to[i]!, t.probability * buffer[STATES * t.to + s]!);
        }
      }
    },
    down(v, from, at, to, toAt) {
      const p = clampChange(tree.changePrior[v]!);
      const turns = layout.turns.get(v);
      if (turns) through(v, turns, from, at);
      for (let k = 0; k < slices(v); k++) {
        if (turns) spread(p, buffer, STATES * k, to, toAt + STATES * k);
        else spread(p, from, at + STATES * k, to, toAt + STATES * k);
      }
    },
    unchanged(v, cavity, below, at) {
      const turns = layout.turns.get(v);
      if (turns) through(v, turns, cavity, 0);
      const source = turns ? buffer : cavity;
      const p = clampChange(tree.changePrior[v]!);
      const alike = STATES * tree.mask[v]!;
      let sum = 0;
      for (let i = 0; i < STATES * slices(v); i++) {
        const other = ALIKE[alike + (i % STATES)]!;
        const unseen = other < 0 ? 0 : p * SWAP * below[at + i - (i % STATES) + other]!;
        sum += source[i]! * ((1 - p) * below[at + i]! + unseen);
      }
      return sum;
    },
  };
}
