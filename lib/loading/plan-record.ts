/** A plan as a record: the work list in order, before and after, bound, cautions. */
import { derivedId } from '../derived-id';
import type { Plan, PlanSection } from '../records';
import { applied } from './applied';
import type { CurvePoint } from './curve';
import type { LoadPlan } from './load-plan';
import { LOSS_ASSUMPTIONS, lossesKW } from './losses';
import type { Loading } from './model';
import type { Problem } from './problem';
import { type SectionLoading, sectionLoading } from './section-loading';
import { TINY } from './state';
import { tidyFigure, unitMoves, workList } from './work-list';

type PlanCurvePart = NonNullable<Plan['curve']>[number];

export const PLAN_CAUTION =
  'A proposal reckoned from the loads and phases given. It is not a switching order, not a test for absence of voltage, and permits nothing: prove the phases at each tap first, and check every rotation named before and after.';

export interface PlanBasis {
  /** instant of the plan, RFC 3339 */
  readonly at: string;
  /** ids of the records it rests on */
  readonly from?: readonly string[];
  /** loads whose phases readings prove */
  readonly byReadings?: ReadonlySet<string>;
  /** least probability of the identifications that prove them */
  readonly leastProbability?: number | undefined;
  readonly neutralRatio?: number;
  readonly curve?: readonly CurvePoint[];
}

export function planRecord(plan: LoadPlan, basis: PlanBasis): Plan {
  const { problem } = plan;
  const { loading, aim, measure, over } = problem;
  const after = applied(loading, unitMoves(plan));
  const byReadings = basis.byReadings ?? new Set<string>();
  const sections = sectionsOf(problem, after);
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
    moves: workList(plan, byReadings),
    sections,
    ...stuckAt(plan, sections),
    ...(basis.curve ? { curve: basis.curve.map(curvePart) } : {}),
    losses: lossesOf(loading, after, basis.neutralRatio),
    ...(loading.assumedInLine.length > 0 ? { assumedInLine: [...loading.assumedInLine] } : {}),
    undecided: undecidedOf(loading),
    basis: basisOf(loading, byReadings, basis.leastProbability),
  };
  return Object.freeze({ ...content, id: derivedId('plan', content) });
}

function figureOf({ aim }: Problem): number {
  if (aim.kind === 'best') return aim.moves;
  return aim.kind === 'limit' ? aim.most : aim.perCost;
}

const curvePart = ({ moves, unbalance, bound, proven, greedy }: CurvePoint): PlanCurvePart => ({
  moves,
  unbalance: tidyFigure(unbalance),
  bound: bound === null ? null : tidyFigure(bound),
  proven,
  greedy: tidyFigure(greedy),
});

const unitOf = ({ measure, over }: Problem): string =>
  measure === 'neutral' ? 'A' : over === 'worst' ? '% of the mean' : 'kW';

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

/** The sections that keep a plan for the worst from moving anything. */
function stuckAt({ problem, before, after, moves }: LoadPlan, sections: readonly PlanSection[]): Pick<Plan, 'stuckAt'> {
  const { over, aim, measure } = problem;
  const asked = aim.kind === 'best' ? aim.moves > 0 : aim.kind === 'price';
  if (over !== 'worst' || !asked || moves > 0 || before <= TINY || after < before - TINY) return {};
  const worst = sections.filter(({ before: { unbalancePct, neutralA } }) => {
    const figure = measure === 'neutral' ? neutralA : unbalancePct;
    return figure !== null && figure >= before - STEP;
  });
  return worst.length > 0 ? { stuckAt: [...new Set(worst.map((s) => s.section))] } : {};
}

/** Figures of a record are told to a millionth. */
const STEP = 2e-6;

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
  const list = unknown.map(({ entry, kW: each }) => ({
    id: entry.id,
    section: entry.section,
    kW: tidyFigure(Math.max(...each)),
    terminals: [...(entry.terminals ?? [])],
  }));
  return { loads: unknown.length, kW: Math.max(0, ...kW), ...(list.length > 0 ? { list } : {}) };
}

function basisOf({ loads }: Loading, byReadings: ReadonlySet<string>, least: number | undefined): Plan['basis'] {
  const known = loads.filter((l) => l.phases.length > 0);
  const identified = known.filter((l) => byReadings.has(l.entry.id)).length;
  const leastProbability = identified > 0 && least !== undefined ? { leastProbability: least } : {};
  return { identified, recorded: known.length - identified, ...leastProbability };
}
