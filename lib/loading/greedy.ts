/** The best single move, again and again: quick, and never far off while moves are few. */
import { type PlanState, TINY } from './state';

export interface Watch {
  /** milliseconds from any origin */
  readonly nowMs: () => number;
  readonly untilMs: number;
  /** true when the user has cancelled */
  readonly stopped?: () => boolean;
}

export const isOver = (w: Watch): boolean => w.nowMs() >= w.untilMs || w.stopped?.() === true;

/** Improves a state by single moves until none helps; `each` hears every step taken. */
export function greedy(state: PlanState, watch: Watch, each?: (state: PlanState) => void): void {
  const { units, mostMoves } = state.problem;
  for (let score = state.score(); !isOver(watch); ) {
    let best = { score: score - TINY, unit: -1, to: 0 };
    for (let u = 0; u < units.length; u++) {
      const was = state.at[u]!;
      if (was === 0 && state.moves >= mostMoves) continue;
      for (let s = 0; s < units[u]!.states.length; s++) {
        if (s === was) continue;
        state.move(u, s);
        const tried = state.score();
        if (tried < best.score) best = { score: tried, unit: u, to: s };
      }
      state.move(u, was);
    }
    if (best.unit < 0) return;
    state.move(best.unit, best.to);
    state.refresh();
    score = state.score();
    each?.(state);
  }
}

/** Takes back moves that bring nothing. */
export function tidy(state: PlanState): void {
  for (let u = 0; u < state.at.length; u++) {
    const was = state.at[u]!;
    if (was === 0) continue;
    const before = state.score();
    state.move(u, 0);
    if (state.score() > before + TINY) state.move(u, was);
  }
  state.refresh();
}
