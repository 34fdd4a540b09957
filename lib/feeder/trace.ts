/** The trace of a feeder: everything the evidence says about it, and its record. */
import { derivedId } from '../derived-id';
import type { Correction, FrameStamp, Trace, TraceLabel } from '../records';
import type { PairFactor } from './blocks';
import { type Conflict, conflicts, loopFactors } from './conflicts';
import { type CorrectionGroup, corrections, type SuspectSite, suspectSites } from './corrections';
import type { SiteEvidence } from './evidence';
import type { Feeder } from './model';
import { type NextBest, nextBest } from './next-best';
import { changeName, compose, image, PERMUTATIONS, parity, projection, STATES } from './permutation';
import { bestProjection, explain, type Solution, solve } from './solve';
import { SETTLED, type Suspect, suspects } from './suspects';
import type { SweepArrays } from './sweep';

export const TRACE_CAUTION =
  'Inferred from readings elsewhere on the feeder. It is not a test for absence of voltage and permits nothing: verify at the place itself.';

export interface FeederTrace {
  readonly feeder: Feeder;
  readonly solution: Solution;
  readonly evidence: readonly SiteEvidence[];
  readonly corrections: readonly CorrectionGroup[];
  readonly suspects: readonly Suspect[];
  readonly sites: readonly SuspectSite[];
  readonly conflicts: readonly Conflict[];
  readonly suggestions: readonly NextBest[];
  readonly measured: Uint8Array;
}

/**
 * Traces one feeder; run again as a whole when a reading of it arrives. Besides the two sweeps it ranks suspects and next readings, and
 * looks for the most probable joint explanation when there are labels to correct: `npm run bench` tells what each of them takes.
 */
export function traceFeeder(
  feeder: Feeder,
  evidence: readonly SiteEvidence[],
  ties: readonly PairFactor[] = [],
  arrays?: SweepArrays,
): FeederTrace {
  const loops = loopFactors(feeder);
  const solution = solve(feeder, evidence, [...loops, ...ties], arrays);
  const measured = new Uint8Array(feeder.count);
  for (const e of evidence) measured[e.section] = 1;
  const readable = new Uint8Array(feeder.count);
  for (const t of feeder.terminals.values()) readable[t.section] = 1;
  const anywhere = feeder.terminals.size === 0;
  return {
    feeder,
    solution,
    evidence,
    corrections: corrections(solution, evidence, () => explain(solution, evidence)),
    suspects: suspects(solution),
    sites: suspectSites(solution, evidence),
    conflicts: conflicts(feeder, evidence, loops, ties, solution),
    suggestions: nextBest(solution, measured, anywhere ? undefined : readable),
    measured,
  };
}

export interface ConductorPhase {
  readonly recorded: string;
  readonly phase: string;
  readonly probability: number;
}

/** The likeliest phase of each conductor of a section, each by itself. */
export function conductorPhases({ feeder, solution }: FeederTrace, v: number): ConductorPhase[] {
  return feeder.phases.flatMap((recorded, j) => {
    if (!((feeder.mask[v]! >> j) & 1)) return [];
    const on = [0, 0, 0];
    for (let s = 0; s < STATES; s++) on[image(s, j)]! += solution.belief[STATES * v + s]!;
    const best = on.indexOf(Math.max(...on));
    return [{ recorded, phase: feeder.phases[best]!, probability: on[best]! }];
  });
}

/** The likeliest phases of a section's conductors together, beside the record. */
export function sectionLabel({ feeder, solution }: FeederTrace, v: number): TraceLabel {
  const { state, probability } = bestProjection(solution, v);
  const present = [0, 1, 2].filter((j) => (feeder.mask[v]! >> j) & 1);
  return {
    section: feeder.ids[v]!,
    recorded: present.map((j) => feeder.phases[j]!),
    phases: present.map((j) => feeder.phases[image(state, j)]!),
    probability,
  };
}

export interface TraceContext {
  /** instant of the newest evidence */
  readonly at: string;
  readonly frame?: FrameStamp;
  /** ids of the comparisons that went in as ties */
  readonly ties?: readonly string[];
  /** what people decided, by section; told with a label when it was about the same phases */
  readonly decisions?: ReadonlyMap<string, Correction>;
}

/** The record of a trace. Its id rests on the feeder, the evidence and what is corrected, not on the last digits of probabilities. */
export function traceRecord(trace: FeederTrace, { at, frame, ties = [], decisions }: TraceContext): Trace {
  const { feeder, solution } = trace;
  const from = [...new Set([...trace.evidence.flatMap((e) => e.from), ...ties])].sort();
  const groups = trace.corrections.map((g) => correctionPart(trace, g, decisions));
  const said = { kind: 'trace' as const, feeder: feeder.id, from, leftOut: [...solution.leftOut] };
  const labels = groups.flatMap((g) =>
    g.labels.map((l) => [l.section, ...l.phases, ...(l.decision ? [l.decision] : [])]),
  );
  return Object.freeze({
    ...said,
    id: derivedId('trace', { ...said, labels, conflicts: trace.conflicts.map((c) => c.id) }),
    at,
    ...(frame ? { frame } : {}),
    caution: TRACE_CAUTION,
    exactness: solution.leftOut.length === 0 ? ('exact' as const) : ('approximate' as const),
    coverage: coverage(trace),
    corrections: groups,
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
    conflicts: trace.conflicts.map((c) => ({ ...c, why: conflictText(c) })),
    suggestions: trace.suggestions.map((s) => suggestionPart(feeder, s)),
  });
}

const unit = (p: number): number => Math.min(1, Math.max(0, p));

function coverage({ feeder, solution, measured }: FeederTrace): Trace['coverage'] {
  let settled = 0;
  let disagreeing = 0;
  for (let v = 1; v < feeder.count; v++) {
    const { state, probability } = bestProjection(solution, v);
    if (probability >= SETTLED) settled++;
    if (projection(state, feeder.mask[v]!) !== projection(0, feeder.mask[v]!)) disagreeing++;
  }
  const count = measured.reduce((n, m) => n + m, 0);
  return { sections: feeder.count - 1, measured: count, settled, disagreeing, unfed: feeder.unfed.length };
}

const decided = (label: TraceLabel, decisions: TraceContext['decisions']): TraceLabel => {
  const made = decisions?.get(label.section);
  return made && made.phases.join() === label.phases.join() ? { ...label, decision: made.decision } : label;
};

function correctionPart(
  trace: FeederTrace,
  g: CorrectionGroup,
  decisions: TraceContext['decisions'],
): Trace['corrections'][number] {
  const { feeder } = trace;
  const step = PERMUTATIONS.findIndex((_, t) => compose(t, g.above) === g.below);
  return {
    cause: {
      section: feeder.ids[g.cause]!,
      probability: unit(g.causeProbability),
      change: `${changeName(step, feeder.phases)}${parity(step) < 0 ? ' (sequence reversed)' : ''}`,
    },
    labels: g.corrections.map((c) => decided(sectionLabel(trace, c.section), decisions)),
    from: [...g.from],
  };
}

const conflictText = (c: Conflict): string =>
  c.what === 'loop'
    ? `closed through ${c.id} the conductors would have to meet phase on phase, which the readings on its two sides contradict`
    : `the comparison at ${c.id} contradicts the readings on its two sides`;

function suggestionPart(feeder: Feeder, s: NextBest): Trace['suggestions'][number] {
  const section = feeder.ids[s.section]!;
  const terminals = [...feeder.terminals.values()].filter((t) => t.section === s.section).map((t) => t.id);
  const why =
    s.by === 'labels-below'
      ? `about ${s.settles.toFixed(1)} labels at and below ${section} are in doubt and hang on it`
      : `a reading at ${section} would tell ${s.settles.toFixed(2)} bits about where conductors cross`;
  return { section, terminals, settles: s.settles, by: s.by, why };
}
