/** The record of a trace: what is offered, accepted and refused, suspected, contradicted, and where to read next. */
import { derivedId } from '../derived-id';
import type { Correction, FrameStamp, Trace, TraceDecided } from '../records';
import type { Conflict } from './conflicts';
import type { CorrectionGroup } from './corrections';
import type { Feeder } from './model';
import type { NextBest } from './next-best';
import { changeName, compose, image, PERMUTATIONS, parity, projection } from './permutation';
import { bestProjection, probabilityOf } from './solve';
import { rowDigests } from './standing';
import { SETTLED } from './suspects';
import { type FeederTrace, phasesOf, sectionLabel } from './trace';

export const TRACE_CAUTION =
  'Inferred from readings elsewhere on the feeder. It is not a test for absence of voltage and permits nothing: verify at the place itself.';

export interface TraceContext {
  /** instant of the newest evidence */
  readonly at: string;
  readonly frame?: FrameStamp;
  /** ids of the comparisons that went in as ties */
  readonly ties?: readonly string[];
}

/** The record of a trace. Its id rests on the feeder, the evidence and what is corrected, not on the last digits of probabilities. */
export function traceRecord(trace: FeederTrace, { at, frame, ties = [] }: TraceContext): Trace {
  const { feeder, solution } = trace;
  const from = [...new Set([...trace.evidence.flatMap((e) => e.from), ...ties])].sort();
  const { offered, refused } = offers(trace);
  const again = new Set(offered.flatMap((g) => g.labels.map((l) => l.section)));
  const accepted = acceptedParts(trace).map((d) => (again.has(d.section) ? { ...d, contradicted: true } : d));
  const said = { kind: 'trace' as const, feeder: feeder.id, from, leftOut: [...solution.leftOut] };
  const labels = offered.flatMap((g) => g.labels.map((l) => [l.section, ...l.phases]));
  const decided = [...accepted, ...refused].map((d) => d.correction);
  return Object.freeze({
    ...said,
    id: derivedId('trace', { ...said, labels, decided, conflicts: trace.conflicts.map((c) => c.id) }),
    at,
    ...(frame ? { frame } : {}),
    caution: TRACE_CAUTION,
    exactness: solution.leftOut.length === 0 ? ('exact' as const) : ('approximate' as const),
    coverage: coverage(trace),
    corrections: offered,
    accepted,
    refused,
    suspects: trace.suspects.map((s) => ({
      mass: s.mass,
      sections: s.sections.map((x) => ({ section: feeder.ids[x.section]!, probability: x.probability })),
    })),
    sites: trace.sites.map(({ section, from: ids, tagProbability, faultProbability }) => ({
      section: feeder.ids[section]!,
      tagProbability: unit(tagProbability),
      faultProbability: unit(faultProbability),
      from: [...ids],
    })),
    conflicts: trace.conflicts.map(({ what, id, support, ...c }) => ({
      what,
      id,
      support,
      why: conflictText({ what, id, support, ...c }),
    })),
    suggestions: trace.suggestions.map((s) => suggestionPart(feeder, s)),
  });
}

const unit = (p: number): number => Math.min(1, Math.max(0, p));

function coverage({ feeder, solution, measured, standing }: FeederTrace): Trace['coverage'] {
  let settled = 0;
  let disagreeing = 0;
  for (let v = 1; v < feeder.count; v++) {
    const { state, probability } = bestProjection(solution, v);
    if (probability >= SETTLED) settled++;
    if (projection(state, feeder.mask[v]!) !== projection(standing.recorded[v]!, feeder.mask[v]!)) disagreeing++;
  }
  const count = measured.reduce((n, m) => n + m, 0);
  return { sections: feeder.count - 1, measured: count, settled, disagreeing, unfed: feeder.unfed.length };
}

type Group = Trace['corrections'][number];

/** What is offered, and what is held back because it was refused and no evidence has come since. */
export function offers(trace: FeederTrace): { offered: Group[]; refused: TraceDecided[] } {
  const rows = rowDigests(trace.feeder);
  const refused: TraceDecided[] = [];
  const offered = trace.corrections.flatMap((g) => {
    const labels = g.corrections.flatMap(({ section: v }) => {
      const label = { ...sectionLabel(trace, v), rowDigest: rows(v) };
      const made = trace.standing.decisions.get(v);
      const again = made?.decision !== 'refused' || made.phases.join() !== label.phases.join();
      if (again || g.from.some((id) => !made.from.includes(id))) return [label];
      refused.push(decidedPart(trace, v, made, trace.standing.recorded[v]!, bestProjection(trace.solution, v).state));
      return [];
    });
    return labels.length > 0 ? [{ cause: causePart(trace, g), labels, from: [...g.from] }] : [];
  });
  return { offered, refused };
}

const acceptedParts = (trace: FeederTrace): TraceDecided[] =>
  [...trace.standing.decisions].flatMap(([v, made]) =>
    trace.standing.recorded[v] === 0 ? [] : [decidedPart(trace, v, made, 0, trace.standing.recorded[v]!)],
  );

function decidedPart(trace: FeederTrace, v: number, made: Correction, recorded: number, state: number): TraceDecided {
  const { feeder, solution } = trace;
  return {
    section: made.section,
    recorded: phasesOf(feeder, v, recorded),
    phases: phasesOf(feeder, v, state),
    probability: probabilityOf(solution, v, state),
    ...(made.rowDigest ? { rowDigest: made.rowDigest } : {}),
    by: made.by,
    decidedAt: made.at,
    correction: made.id,
  };
}

const causePart = ({ feeder }: FeederTrace, g: CorrectionGroup): Group['cause'] => ({
  section: feeder.ids[g.cause]!,
  probability: unit(g.causeProbability),
  change: changeText(feeder, g),
});

/** Of fewer than three conductors only where those that are there go: there is no sequence to reverse. */
function changeText({ phases, mask }: Feeder, { cause, above, below }: CorrectionGroup): string {
  if (cause === 0) return 'no single crossing explains it';
  const step = PERMUTATIONS.findIndex((_, t) => compose(t, above) === below);
  if (mask[cause] === 7) return `${changeName(step, phases)}${parity(step) < 0 ? ' (sequence reversed)' : ''}`;
  const present = [0, 1, 2].filter((j) => (mask[cause]! >> j) & 1 && image(above, j) !== image(below, j));
  return present.map((j) => `${phases[image(above, j)]} to ${phases[image(below, j)]}`).join(', ');
}

function conflictText({ what, id, against }: Conflict): string {
  if (against === 'windings') {
    const where = what === 'loop' ? `closed through ${id}` : `compared at ${id}`;
    return `${where} two sides stand apart, by the transformers on record, as no order of conductors would have them: a vector group or the switch is recorded wrong`;
  }
  return what === 'loop'
    ? `closed through ${id} the conductors would have to meet phase on phase, which the readings on its two sides contradict`
    : `the comparison at ${id} contradicts the readings on its two sides`;
}

function suggestionPart(feeder: Feeder, s: NextBest): Trace['suggestions'][number] {
  const section = feeder.ids[s.section]!;
  const terminals = [...feeder.terminals.values()].filter((t) => t.section === s.section).map((t) => t.id);
  const why =
    s.by === 'labels-below'
      ? `about ${s.settles.toFixed(1)} labels at and below ${section} are in doubt and hang on it`
      : `a reading at ${section} would tell ${s.settles.toFixed(2)} bits about where conductors cross`;
  return { section, terminals, settles: s.settles, by: s.by, why };
}
