/** The search for a plan: greedy, a solver when there is one, annealing; the best of them with the proven bound beside it. */
import type { LoadPlan } from './load-plan';
import type { Loading } from './model';
import { makeProblem, type ProblemOptions } from './problem';
import { Search, type SearchOptions } from './search';

/** Too little time to ask the solver once more. */
const LEAST_S = 0.3;

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

/** The plan that these places mean, as found on the way: when a search is broken off from without. Nothing is proven of it. */
export function planAt(loading: Loading, options: ProblemOptions, at: Int32Array): LoadPlan {
  const search = new Search(makeProblem(loading, options), { ...options, nowMs: () => 0, timeS: 0, seed: 0 });
  return search.replaced(at);
}
