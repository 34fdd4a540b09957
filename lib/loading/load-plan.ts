/** A plan in figures: what is better for how many moves, and how far from the best it can be. */
import type { SolverAnswer } from './milp';
import type { Problem } from './problem';
import { type PlanState, stateAt, TINY } from './state';

export interface LoadPlan {
  readonly problem: Problem;
  /** state of each unit of the problem; 0 stays */
  readonly at: Int32Array;
  /** percent of the mean, kW or amperes, as measure and `over` say */
  readonly before: number;
  readonly after: number;
  readonly moves: number;
  readonly cost: number;
  /** what is minimised: cost (limit), else unbalance and priced cost */
  readonly value: number;
  /** proven: no plan's value is below; null without a solver */
  readonly bound: number | null;
  /** (value - bound) / value of doing nothing, percent; null without a bound. For a limit: of the value itself */
  readonly gapPct: number | null;
  readonly proven: boolean;
  /** a limit that was asked for is kept; true when none was */
  readonly keepsLimit: boolean;
  /** the solver has proven that no plan keeps the limit */
  readonly impossible: boolean;
  readonly by: 'greedy' | 'solver' | 'annealing' | 'none';
}

/** A gap below this is a rounding of the solver. */
export const PROVEN_PCT = 1e-3;

/** How far a value may be above the best, in percent of a yardstick. */
export const gapPctOf = (value: number, bound: number, yardstick: number): number =>
  yardstick > 0 ? (100 * Math.max(0, value - bound)) / yardstick : 0;

/** An excess over a limit below this is rounding. */
const KEPT = 1e-6;

export const keepsTo = (state: PlanState): boolean => state.unbalance() <= KEPT;

/** What a plan is measured against. */
export interface Yardstick {
  readonly problem: Problem;
  /** the problem without a limit: what the figures of the plan are told in */
  readonly plain: Problem;
  readonly before: number;
}

/** The plan that a state means; `answer`: what the solver said, when it was asked. */
export function loadPlan(
  { problem, plain, before }: Yardstick,
  state: PlanState,
  answer: SolverAnswer | undefined,
  by: LoadPlan['by'],
): LoadPlan {
  const isLimit = problem.aim.kind === 'limit';
  const keepsLimit = !isLimit || keepsTo(state);
  const value = isLimit ? state.cost : state.score();
  const bound = answer?.bound ?? (value <= TINY ? 0 : null);
  const of = isLimit ? Math.max(value, 1) : before;
  const gapPct = bound === null ? null : gapPctOf(value, bound, of);
  return {
    problem,
    at: state.at,
    before,
    after: stateAt(plain, state.at).unbalance(),
    moves: state.moves,
    cost: state.cost,
    value,
    bound,
    gapPct,
    proven: keepsLimit && gapPct !== null && gapPct <= PROVEN_PCT,
    keepsLimit,
    impossible: isLimit && answer?.status === 'infeasible',
    by,
  };
}
