/** What each further move buys: the curve of the best that 0, 1, 2 .. moves can do. */
import { greedy } from './greedy';
import { gapPctOf, type LoadPlan, PROVEN_PCT } from './load-plan';
import type { Loading } from './model';
import { planMoves } from './plan';
import { makeProblem, type Problem } from './problem';
import type { SearchOptions } from './search';
import { PlanState, TINY } from './state';

export interface CurvePoint {
  readonly moves: number;
  readonly unbalance: number;
  readonly bound: number | null;
  readonly proven: boolean;
  /** what always taking the best next move reaches with so many: the peer */
  readonly greedy: number;
}

export interface CurveOptions extends Omit<SearchOptions, 'aim' | 'from'> {
  /** hears the points so far, each time there is one more */
  readonly told?: (points: readonly CurvePoint[]) => void;
}

/**
 * What 0, 1, 2 .. moves can do at best. Ends early when more moves bring nothing. Never worse than greedy's own curve: each search begins
 * with what greedy found, or with what fewer moves reached.
 */
export async function moveCurve(loading: Loading, mostMoves: number, options: CurveOptions): Promise<CurvePoint[]> {
  const points: CurvePoint[] = [];
  let before: LoadPlan | undefined;
  for (let moves = 0; moves <= mostMoves && !options.stopped?.(); moves++) {
    const aim = { kind: 'best', moves } as const;
    const greedy = greedyAlone(makeProblem(loading, { ...options, aim }), options);
    const from = before && before.after <= greedy.unbalance() ? before.at : greedy.at;
    before = await planMoves(loading, { ...options, aim, from });
    const { after: unbalance, bound, proven } = before;
    points.push({ moves, unbalance, bound, proven, greedy: greedy.unbalance() });
    options.told?.(tightened(points));
    if (unbalance <= TINY) break;
  }
  return tightened(points);
}

/** What more moves cannot reach, fewer cannot: a bound holds for all points before it. */
function tightened(points: readonly CurvePoint[]): CurvePoint[] {
  let known: number | null = null;
  return points
    .toReversed()
    .map((p) => {
      const bound = known === null ? p.bound : Math.max(known, p.bound ?? known);
      known = bound;
      return { ...p, bound, proven: p.proven || isProven(p.unbalance, bound, points[0]!.unbalance) };
    })
    .reverse();
}

const isProven = (unbalance: number, bound: number | null, before: number): boolean =>
  bound !== null && gapPctOf(unbalance, bound, before) <= PROVEN_PCT;

/** A curve goes so many moves past its plan, to show what was not asked for, and no further than a page can show. */
const BEYOND = 3;
const MOST = 15;

/**
 * The curve to keep with a plan, in the unit of the plan: up to a few moves more than it has. A search of longer breath goes before
 * the curve's own: what the plan reaches, so many moves and more reach too.
 * @param timeS for the whole curve
 */
export async function curveOfPlan(plan: LoadPlan, options: CurveOptions): Promise<CurvePoint[]> {
  const upTo = Math.min(MOST, plan.moves + BEYOND);
  const { loading, aim, over } = plan.problem;
  const points = await moveCurve(loading, upTo, { ...options, over, timeS: options.timeS / (upTo + 1) });
  const reached = points.map((p) =>
    p.moves < plan.moves ? p : { ...p, unbalance: Math.min(p.unbalance, plan.after), proven: false },
  );
  if (aim.kind !== 'best' || plan.bound === null) return tightened(reached);
  const { bound } = plan;
  return tightened(reached.map((p) => (p.moves > aim.moves ? p : { ...p, bound: Math.max(bound, p.bound ?? bound) })));
}

function greedyAlone(problem: Problem, { nowMs, timeS, stopped }: Pick<SearchOptions, 'nowMs' | 'timeS' | 'stopped'>) {
  const state = new PlanState(problem);
  greedy(state, { nowMs, untilMs: nowMs() + 1000 * timeS, ...(stopped ? { stopped } : {}) });
  return state;
}
