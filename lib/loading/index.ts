/** Load by phase at every section, and the moves that balance it. */

export { applied, type UnitMove } from './applied';
export * from './curve';
export { LoadEntrySchema, type LoadingRead, LoadingSchema, readLoading } from './document';
export { followUp } from './follow-up';
export { type FromFeeder, loadingFromFeeder } from './from-feeder';
export { type Identified, provenPhases, withIdentifications } from './identified';
export type { LoadPlan } from './load-plan';
export { LOSS_ASSUMPTIONS, lossesKW } from './losses';
export { type Milp, milpOf, type Solver, type SolverAnswer } from './milp';
export * from './model';
export { type NewLoadOption, phaseForNewLoad } from './new-load';
export * from './plan';
export { PLAN_CAUTION, type PlanBasis, planRecord } from './plan-record';
export { addPower, type BetweenPhases, neutralOf } from './power';
export type { Aim, Measure, Problem as PlanProblem, ProblemOptions } from './problem';
export type { Progress, SearchOptions } from './search';
export * from './section-loading';
export { type MovableUnit, type PhaseMap, statesOf } from './units';
export { workListCsv } from './work-list-csv';
