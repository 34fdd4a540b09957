/** A plan as a record: the work list in order, before and after, bound, cautions. */
import { derivedId } from '../derived-id';
import type { Plan, PlanMove, PlanSection } from '../records';
import { applied, type UnitMove } from './applied';
import { LOSS_ASSUMPTIONS, lossesKW } from './losses';
import type { Loading } from './model';
import type { LoadPlan } from './plan';
import type { Problem } from './problem';
import { type SectionLoading, sectionLoading } from './section-loading';
import { PlanState } from './state';

export const PLAN_CAUTION =
  'A proposal reckoned from the loads and phases given. It is not a switching order, not a test for absence of voltage, and permits nothing: prove the phases at each tap first, and check every rotation named before and after.';

export interface PlanBasis {
  /** instant of the plan, RFC 3339 */
  readonly at: string;
  /** ids of the records it rests on */
  readonly from?: readonly string[];
  /** loads whose phases readings prove */
  readonly byReadings?: ReadonlySet<string>;
  readonly neutralRatio?: number;
}

export function planRecord(plan: LoadPlan, basis: PlanBasis): Plan {
  const { problem } = plan;
  const { loading, aim, measure, over } = problem;
  const after = applied(loading, unitMoves(plan));
  const content = {
    kind: 'plan' as const,
    at: basis.at,
    from: [...(basis.from ?? [])],
    caution: PLAN_CAUTION,
    feeder: loading.feeder.id,
    aim: { kind: aim.kind, figure: figureOf(problem), measure, over, unit: unitOf(problem) },
    before: tidyFigure(plan.before),
    after: tidyFigure(plan.after),
    cost: plan.cost,
    value: tidyFigure(plan.value),
    bound: plan.bound === null ? null : tidyFigure(plan.bound),
    gapPct: plan.gapPct === null ? null : tidyFigure(plan.gapPct),
    proven: plan.proven,
    keepsLimit: plan.keepsLimit,
    moves: workList(plan),
    sections: sectionsOf(problem, after),
    losses: lossesOf(loading, after, basis.neutralRatio),
    ...(loading.assumedInLine.length > 0 ? { assumedInLine: [...loading.assumedInLine] } : {}),
    undecided: undecidedOf(loading),
    basis: basisOf(loading, basis.byReadings ?? new Set()),
  };
  return Object.freeze({ ...content, id: derivedId('plan', content) });
}

/** Figures of a record are told to a millionth: further digits are rounding. */
const tidyFigure = (x: number): number => Math.round(x * 1e6) / 1e6;

function figureOf({ aim }: Problem): number {
  if (aim.kind === 'best') return aim.moves;
  return aim.kind === 'limit' ? aim.most : aim.perCost;
}

const unitOf = ({ measure, over }: Problem): string =>
  measure === 'neutral' ? 'A' : over === 'worst' ? '% of the mean' : 'kW';

export function unitMoves({ problem, at }: LoadPlan): UnitMove[] {
  return problem.units.flatMap((unit, u) => (at[u] === 0 ? [] : [{ unit, to: unit.states[at[u]!]! }]));
}

/**
 * The moves in the order in which each next one helps most, so that work broken off has brought the most.
 * An order that only electrical balance asks for: crews may have others.
 */
function workList(plan: LoadPlan): PlanMove[] {
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
    list.push(moveOf(problem, best.u, at[best.u]!, list.length + 1, tidyFigure(best.unbalance)));
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
    cautions: cautionsOf(unit.onlyRolls, unit.terminals.length, unit.phases.length),
    state: 'open',
  };
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

function sectionsOf(problem: Problem, after: Loading): PlanSection[] {
  const { loading, watched, snapshots } = problem;
  const one = (row: SectionLoading) => ({
    unbalancePct: row.unbalancePct.kW === null ? null : tidyFigure(row.unbalancePct.kW),
    neutralA: tidyFigure(row.neutral.magnitude),
    phases: row.phases.map(({ phase, kW, amperes }) => ({ phase, kW: tidyFigure(kW), amperes: tidyFigure(amperes) })),
  });
  const before = sectionLoading(loading);
  const then = new Map(sectionLoading(after).map((r) => [`${r.section} ${r.snapshot}`, r]));
  return watched.flatMap((v) =>
    before.slice(v * snapshots, (v + 1) * snapshots).map((row) => ({
      section: row.section,
      snapshot: row.snapshot,
      before: one(row),
      after: one(then.get(`${row.section} ${row.snapshot}`)!),
      undecidedKW: tidyFigure(row.undecided.kW),
    })),
  );
}

function lossesOf(before: Loading, after: Loading, neutralRatio?: number): Plan['losses'] {
  if (!before.document.resistanceOhm) return null;
  const total = before.snapshots.reduce((sum, s) => sum + s.weight, 0);
  const mean = (loading: Loading) =>
    tidyFigure(
      lossesKW(loading, neutralRatio).reduce((sum, kW, t) => sum + kW * loading.snapshots[t]!.weight, 0) / total,
    );
  return { beforeKW: mean(before), afterKW: mean(after), assumptions: LOSS_ASSUMPTIONS };
}

function undecidedOf({ loads, snapshots }: Loading): Plan['undecided'] {
  const unknown = loads.filter((l) => l.phases.length === 0);
  const kW = snapshots.map((_, t) => unknown.reduce((sum, l) => sum + l.kW[t]!, 0));
  return { loads: unknown.length, kW: Math.max(0, ...kW) };
}

function basisOf({ loads }: Loading, byReadings: ReadonlySet<string>): Plan['basis'] {
  const known = loads.filter((l) => l.phases.length > 0);
  const identified = known.filter((l) => byReadings.has(l.entry.id)).length;
  return { identified, recorded: known.length - identified };
}
