/** Load by phase at every section, and the moves that balance it. */
export { type Milp, milpOf, type Solver, type SolverAnswer } from './milp';
export * from './model';
export * from './plan';
export { addPower, type BetweenPhases, neutralOf } from './power';
export type { Aim, Measure, Problem as PlanProblem, ProblemOptions } from './problem';
export * from './section-loading';
export { type MovableUnit, type PhaseMap, statesOf } from './units';
