/** A state of the feeder while a plan is sought: where each unit is, and what that is worth. */
import { lengthOf, type Problem } from './problem';

/** Under a limit, what exceeds it is dear beyond any cost of moves. */
const EXCESS_PRICE = 1e6;

export class PlanState {
  readonly at: Int32Array;
  private readonly vectors: Float64Array;
  /** what each row counts */
  private readonly counts: Float64Array;
  private sum = 0;
  moves = 0;
  cost = 0;

  constructor(readonly problem: Problem) {
    this.at = new Int32Array(problem.units.length);
    this.vectors = Float64Array.from(problem.start);
    this.counts = new Float64Array(problem.rows);
    this.recount();
  }

  /** Moves a unit to a state; undone by moving it back. */
  move(unit: number, state: number): void {
    const { change, entry, above, crosses, width, snapshots } = this.problem;
    const was = this.at[unit]!;
    if (was === state) return;
    const step = width * snapshots;
    let level = 0;
    for (let w = entry[unit]!; w >= 0; w = above[w]!) {
      const to = change[unit]![state]![level]!;
      const from = change[unit]![was]![level]!;
      level += crosses[w]!;
      const base = w * step;
      for (let k = 0; k < step; k++) this.vectors[base + k]! += to[k]! - from[k]!;
      for (let t = 0; t < snapshots; t++) this.count(w * snapshots + t);
    }
    const { cost } = this.problem.units[unit]!;
    this.moves += Number(was === 0) - Number(state === 0);
    this.cost += cost * (Number(was === 0) - Number(state === 0));
    this.at[unit] = state;
  }

  private count(row: number): void {
    const { width, free, scale } = this.problem;
    const over = lengthOf(width, this.vectors, row) - free[row]!;
    const counts = over > 0 ? over * scale[row]! : 0;
    this.sum += counts - this.counts[row]!;
    this.counts[row] = counts;
  }

  /** Rounding gathers while moves are tried and undone; this clears it. */
  refresh(): void {
    const { problem } = this;
    const at = Int32Array.from(this.at);
    this.vectors.set(problem.start);
    this.at.fill(0);
    this.moves = 0;
    this.cost = 0;
    at.forEach((state, unit) => {
      this.move(unit, state);
    });
    this.recount();
  }

  private recount(): void {
    this.sum = 0;
    this.counts.fill(0);
    for (let row = 0; row < this.problem.rows; row++) this.count(row);
  }

  /** What is left of the unbalance, in the unit of the measure; 0 when a limit is kept. */
  unbalance(): number {
    if (this.problem.over === 'sum') return Math.max(0, this.sum);
    let worst = 0;
    for (const c of this.counts) if (c > worst) worst = c;
    return worst;
  }

  /** The smaller the better. */
  score(): number {
    const { aim, perCost } = this.problem;
    if (aim.kind === 'limit') return EXCESS_PRICE * Math.max(0, this.unbalance() - 1e-6) + this.cost;
    return this.unbalance() + perCost * this.cost;
  }
}

/** Below any figure that a load list tells. */
export const TINY = 1e-7;

/** What every unit at the place of `at` is worth. */
export function stateAt(problem: Problem, at: Int32Array): PlanState {
  const state = new PlanState(problem);
  at.forEach((s, u) => {
    state.move(u, s);
  });
  return state;
}
