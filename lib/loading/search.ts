/** The best that was found so far, and the steps that find better: greedy, a solver, annealing. */
import { anneal } from './anneal';
import { greedy, tidy, type Watch } from './greedy';
import { keepsTo, type LoadPlan, loadPlan, type Yardstick } from './load-plan';
import { milpOf, type Solver, type SolverAnswer } from './milp';
import type { Problem, ProblemOptions } from './problem';
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

export class Search {
  private best: PlanState;
  private by: LoadPlan['by'] = 'none';
  private answer: SolverAnswer | undefined;
  private readonly against: Yardstick;
  private readonly endMs: number;

  constructor(
    private readonly problem: Problem,
    private readonly options: SearchOptions,
  ) {
    this.endMs = options.nowMs() + 1000 * options.timeS;
    this.best = new PlanState(problem);
    const plain = { ...problem, free: new Float64Array(problem.rows) };
    this.against = { problem, plain, before: new PlanState(plain).unbalance() };
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
    if (aim.kind !== 'limit' || measure !== 'neutral' || keepsTo(this.best)) return;
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
    return 0.02 * this.best.score() + 1e-4 * this.against.before + TINY;
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
    return loadPlan(this.against, this.best, this.answer, this.by);
  }
}

const ROUNDS = 3;
/** Part of the trials that gives the solver a better start. */
const SHORT_PART = 0.05;
/** Measured on two cores of 2024 with other work beside: about half of what they do. */
const TRIALS_PER_S = 5e5;
