/** The search for a plan: greedy, a solver when there is one, annealing; the best of them with the proven bound beside it. */
import { anneal } from './anneal';
import { greedy, tidy, type Watch } from './greedy';
import { milpOf, type Solver, type SolverAnswer } from './milp';
import type { Loading } from './model';
import { makeProblem, type Problem, type ProblemOptions } from './problem';
import { PlanState, stateAt, TINY } from './state';

export interface Progress {
  readonly step: 'greedy' | 'solver' | 'annealing';
  readonly unbalance: number;
  readonly moves: number;
  readonly bound: number | null;
  /** places of the units: what `planAt` makes a plan of */
  readonly at: Int32Array;
}

export interface SearchOptions extends ProblemOptions {
  /** milliseconds from any origin */
  readonly nowMs: () => number;
  /** all steps together, seconds */
  readonly timeS: number;
  readonly seed: number;
  /** trials of the annealing; left out: so many that they end within the time on most machines */
  readonly trials?: number;
  readonly solver?: Solver;
  readonly stopped?: () => boolean;
  readonly progress?: (p: Progress) => void;
  /** places to begin with, beside the recorded ones */
  readonly from?: Int32Array;
}

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
  readonly by: Progress['step'] | 'none';
}

/** A gap below this is a rounding of the solver. */
const PROVEN_PCT = 1e-3;

/** Finds the moves. Nothing is thrown for want of time: what is best so far comes back. */
export async function planMoves(loading: Loading, options: SearchOptions): Promise<LoadPlan> {
  const problem = makeProblem(loading, options);
  const search = new Search(problem, options);
  search.greedy();
  if (options.solver && search.worthGoingOn()) await search.solve(options.solver);
  if (search.worthGoingOn()) search.anneal();
  return withFewestMoves(loading, options, search);
}

/** Of plans that leave the same worst section, one with the fewest moves: the best value becomes a limit. */
async function withFewestMoves(loading: Loading, options: SearchOptions, search: Search): Promise<LoadPlan> {
  const plan = search.plan();
  const timeS = Math.min(search.leftS(), Math.max(1, options.timeS / 4));
  const isWorst = plan.problem.aim.kind === 'best' && plan.problem.over === 'worst';
  if (!isWorst || !options.solver || plan.moves < 2 || timeS < LEAST_S || options.stopped?.()) return plan;
  const aim = { kind: 'limit', most: plan.after * (1 + 1e-9) + 1e-7 } as const;
  const costs = {
    ...makeProblem(loading, { ...options, aim }),
    units: plan.problem.units.map((u) => ({ ...u, cost: 1 })),
  };
  const fewest = new Search(costs, { ...options, timeS, from: plan.at });
  fewest.greedy();
  await fewest.solve(options.solver);
  const found = fewest.plan();
  if (!found.keepsLimit || found.moves >= plan.moves) return plan;
  return search.replaced(found.at);
}

class Search {
  private best: PlanState;
  private by: LoadPlan['by'] = 'none';
  private answer: SolverAnswer | undefined;
  /** the problem without a limit: what the figures of the plan are told in */
  private readonly plain: Problem;
  private readonly before: number;
  private readonly beganMs: number;
  private readonly endMs: number;

  constructor(
    private readonly problem: Problem,
    private readonly options: SearchOptions,
  ) {
    this.beganMs = options.nowMs();
    this.endMs = this.beganMs + 1000 * options.timeS;
    this.best = new PlanState(problem);
    this.plain = { ...problem, free: new Float64Array(problem.rows) };
    this.before = new PlanState(this.plain).unbalance();
  }

  greedy(): void {
    const state = new PlanState(this.problem);
    greedy(state, this.watch(0.3), (s) => this.tell('greedy', s));
    tidy(state);
    this.offer(state, 'greedy');
    if (!this.options.from) return;
    const other = stateAt(this.problem, this.options.from);
    greedy(other, this.watch(0.4));
    tidy(other);
    this.offer(other, 'greedy');
  }

  async solve(solver: Solver): Promise<void> {
    this.walk(SHORT_PART, 0);
    const milp = milpOf(this.problem);
    const timeS = (0.55 * (this.endMs - this.options.nowMs())) / 1000;
    this.answer = await solver(milp.text, { timeS, start: milp.valuesOf(this.best.at) });
    if (!this.answer.values) return;
    const state = stateAt(this.problem, milp.placesOf(this.answer.values));
    tidy(state);
    this.offer(state, 'solver');
    await this.solveInside(solver);
  }

  /** What lies within the polygon of the neutral current may lie just outside a limit: once more with a limit that cannot deceive. */
  private async solveInside(solver: Solver): Promise<void> {
    const { aim, measure } = this.problem;
    if (aim.kind !== 'limit' || measure !== 'neutral' || this.best.unbalance() <= KEPT) return;
    const milp = milpOf(this.problem, 'inside');
    const { values } = await solver(milp.text, { timeS: (0.5 * (this.endMs - this.options.nowMs())) / 1000 });
    if (!values) return;
    const state = stateAt(this.problem, milp.placesOf(values));
    tidy(state);
    this.offer(state, 'solver');
  }

  anneal(): void {
    // A solver that has finished leaves only what its polygon of the neutral current hides.
    const rounds = this.answer?.status === 'optimal' ? 1 : ROUNDS;
    for (let round = 1; round <= rounds && this.worthGoingOn(); round++) {
      this.walk(rounds === 1 ? SHORT_PART : 1 / rounds, round);
    }
  }

  /** One walk from the best so far, with a part of the trials. */
  private walk(part: number, round: number): void {
    if (this.problem.units.length === 0) return;
    const state = stateAt(this.problem, this.best.at);
    const startTemperature = this.temperature();
    const seed = this.options.seed + 7919 * round;
    const trials = Math.ceil(part * (this.options.trials ?? this.usualTrials()));
    const at = anneal(state, this.watch(1), { seed, trials, startTemperature });
    const found = stateAt(this.problem, at);
    greedy(found, this.watch(1));
    tidy(found);
    this.offer(found, 'annealing');
  }

  /** A trial costs more the more rows are watched; a solver takes half of the time. */
  private usualTrials(): number {
    const { solver, timeS } = this.options;
    return ((solver ? 1 : 2) * TRIALS_PER_S * timeS) / (1 + this.problem.rows / 6);
  }

  private temperature(): number {
    const { aim, perCost } = this.problem;
    if (aim.kind === 'limit') return 1;
    // The more units, the more small steps lie open, and the colder the walk must begin to come down in the time.
    if (aim.kind === 'price' && perCost > 0) return 3 * perCost * Math.min(1, 200 / this.problem.units.length);
    return 0.02 * this.best.score() + 1e-4 * this.before + TINY;
  }

  private watch(part: number): Watch {
    const now = this.options.nowMs();
    const { nowMs, stopped } = this.options;
    return { nowMs, untilMs: now + part * (this.endMs - now), ...(stopped ? { stopped } : {}) };
  }

  private offer(state: PlanState, by: Progress['step']): void {
    if (state.moves > this.problem.mostMoves || state.score() >= this.best.score() - TINY) return;
    this.best = state;
    this.by = by;
    this.tell(by, state);
  }

  private tell(step: Progress['step'], state: PlanState): void {
    const bound = this.answer?.bound ?? null;
    const at = Int32Array.from(state.at);
    this.options.progress?.({ step, unbalance: state.unbalance(), moves: state.moves, bound, at });
  }

  leftS(): number {
    return (this.endMs - this.options.nowMs()) / 1000;
  }

  /** The plan with other places that are worth the same. */
  replaced(at: Int32Array): LoadPlan {
    this.best = stateAt(this.problem, at);
    return this.plan();
  }

  worthGoingOn(): boolean {
    if (this.options.nowMs() >= this.endMs || this.options.stopped?.()) return false;
    return !this.plan().proven && this.answer?.status !== 'infeasible' && this.best.score() > TINY;
  }

  plan(): LoadPlan {
    const { aim } = this.problem;
    const state = this.best;
    const isLimit = aim.kind === 'limit';
    const keepsLimit = !isLimit || state.unbalance() <= KEPT;
    const value = isLimit ? state.cost : state.score();
    const bound = this.answer?.bound ?? (value <= TINY ? 0 : null);
    const of = isLimit ? Math.max(value, 1) : this.before;
    const gapPct = bound === null ? null : of > 0 ? (100 * Math.max(0, value - bound)) / of : 0;
    return {
      problem: this.problem,
      at: state.at,
      before: this.before,
      after: stateAt(this.plain, state.at).unbalance(),
      moves: state.moves,
      cost: state.cost,
      value,
      bound,
      gapPct,
      proven: keepsLimit && gapPct !== null && gapPct <= PROVEN_PCT,
      keepsLimit,
      impossible: isLimit && this.answer?.status === 'infeasible',
      by: this.by,
    };
  }
}

const ROUNDS = 3;
/** Too little time to ask the solver once more. */
const LEAST_S = 0.3;
/** An excess below this is rounding. */
const KEPT = 1e-6;
/** Part of the trials that gives the solver a better start. */
const SHORT_PART = 0.05;
/** Measured on two cores of 2024 with other work beside: about half of what they do. */
const TRIALS_PER_S = 5e5;

/** The plan that these places mean, as found on the way: when a search is broken off from without. Nothing is proven of it. */
export function planAt(loading: Loading, options: ProblemOptions, at: Int32Array): LoadPlan {
  const search = new Search(makeProblem(loading, options), { ...options, nowMs: () => 0, timeS: 0, seed: 0 });
  return search.replaced(at);
}
