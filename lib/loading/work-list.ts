/** The moves of a plan as a list for crews: in which order, from where, to where, and what must be watched. */
import type { PlanMove } from '../records';
import type { UnitMove } from './applied';
import type { LoadPlan } from './load-plan';
import type { Loading } from './model';
import type { Problem } from './problem';
import { PlanState } from './state';

/** Figures of a record are told to a millionth: further digits are rounding. */
export const tidyFigure = (x: number): number => Math.round(x * 1e6) / 1e6;

export function unitMoves({ problem, at }: LoadPlan): UnitMove[] {
  return problem.units.flatMap((unit, u) => (at[u] === 0 ? [] : [{ unit, to: unit.states[at[u]!]! }]));
}

/**
 * The moves in the order in which each next one helps most, so that work broken off has brought the most.
 * An order that only electrical balance asks for: crews may have others.
 */
export function workList(plan: LoadPlan, byReadings: ReadonlySet<string>): PlanMove[] {
  const { problem, at } = plan;
  const state = new PlanState({ ...problem, free: new Float64Array(problem.rows) });
  const open = new Set(problem.units.flatMap((_, u) => (at[u] === 0 ? [] : [u])));
  const list: PlanMove[] = [];
  while (open.size > 0) {
    let best = { u: -1, unbalance: Number.POSITIVE_INFINITY };
    for (const u of open) {
      state.move(u, at[u]!);
      if (state.unbalance() < best.unbalance) best = { u, unbalance: state.unbalance() };
      state.move(u, 0);
    }
    state.move(best.u, at[best.u]!);
    open.delete(best.u);
    const { loads } = problem.units[best.u]!;
    const knownBy = loads.length > 0 && loads.every((l) => byReadings.has(l.entry.id)) ? 'readings' : 'record';
    list.push({ ...moveOf(problem, best.u, at[best.u]!, list.length + 1, tidyFigure(best.unbalance)), knownBy });
  }
  return list;
}

function moveOf(problem: Problem, u: number, state: number, order: number, unbalance: number): PlanMove {
  const unit = problem.units[u]!;
  const { feeder } = problem.loading;
  const name = (p: number) => feeder.phases[p]!;
  const from = unit.phases.map(name);
  const to = unit.phases.map((p) => name(unit.states[state]![p]!));
  return {
    order,
    what: unit.kind,
    id: unit.id,
    section: unit.kind === 'load' ? feeder.ids[unit.feltAt]! : unit.id,
    from,
    to,
    cost: unit.cost,
    unbalance,
    terminals: [...unit.terminals],
    rotationCheck: unit.onlyRolls || unit.phases.length > 1,
    cautions: [
      ...cautionsOf(unit.onlyRolls, unit.terminals.length, unit.phases.length),
      ...belowTransformer(problem.loading, unit.feltAt),
    ],
    state: 'open',
  };
}

/** Below a winding that turns the phases a label is that of the winding, not that of the conductor above. */
function belowTransformer({ feeder, lifts }: Loading, section: number): string[] {
  const ids: string[] = [];
  for (let v = section; v > 0; v = feeder.parent[v]!) if (lifts.has(v)) ids.push(feeder.ids[v]!);
  if (ids.length === 0) return [];
  return [`The phases named are those of the windings below transformer ${ids.join(', ')}: prove and move them there.`];
}

function cautionsOf(onlyRolls: boolean, terminals: number, conductors: number): string[] {
  return [
    'Prove by readings at the tap that the conductors are on the phases named under from, before anything is moved.',
    ...(onlyRolls
      ? [
          'A three-phase customer may hang on this: roll all conductors by the same number of places, never swap two; check the rotation before and after.',
        ]
      : conductors > 1
        ? [
            'Two conductors may supply a three-phase customer by an open delta: make sure that none hangs on this, else only roll them.',
          ]
        : []),
    ...(terminals < conductors ? ['Not all conductors have a terminal: readings cannot confirm this move.'] : []),
  ];
}
