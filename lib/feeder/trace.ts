/** The trace of a feeder: everything the evidence says about it. */
import type { TraceLabel } from '../records';
import { type Conflict, conflicts, loopFactors } from './conflicts';
import { type CorrectionGroup, corrections, type SuspectSite, suspectSites } from './corrections';
import type { SiteEvidence } from './evidence';
import type { Feeder } from './model';
import { type NextBest, nextBest } from './next-best';
import type { PairFactor } from './pair-factor';
import { image, projection, STATES } from './permutation';
import { bestProjection, explain, type Solution, solve } from './solve';
import type { Standing } from './standing';
import { SUSPECTED, type Suspect, suspects } from './suspects';
import type { SweepArrays } from './sweep';

export interface FeederTrace {
  readonly feeder: Feeder;
  readonly solution: Solution;
  readonly evidence: readonly SiteEvidence[];
  readonly corrections: readonly CorrectionGroup[];
  readonly suspects: readonly Suspect[];
  readonly sites: readonly SuspectSite[];
  readonly conflicts: readonly Conflict[];
  readonly suggestions: readonly NextBest[];
  /** 1: there is evidence of the section */
  readonly measured: Uint8Array;
  /** 1: all its conductors were read, so that a reading there would settle nothing more */
  readonly read: Uint8Array;
  readonly standing: Standing;
}

/** Labels or bits: nobody is sent out for less. */
const WORTH_A_WAY = 0.01;

const NOTHING_DECIDED = (feeder: Feeder): Standing => ({
  decisions: new Map(),
  recorded: new Uint8Array(feeder.count),
  evidence: [],
});

/**
 * Traces one feeder; run again as a whole when a reading of it arrives. Besides the two sweeps it ranks suspects and next readings, and
 * looks for the most probable joint explanation when there are labels to correct: `npm run bench` tells what each of them takes.
 */
export function traceFeeder(
  feeder: Feeder,
  evidence: readonly SiteEvidence[],
  ties: readonly PairFactor[] = [],
  arrays?: SweepArrays,
  standing: Standing = NOTHING_DECIDED(feeder),
): FeederTrace {
  const loops = loopFactors(feeder);
  const all = [...evidence, ...standing.evidence];
  const solution = solve(feeder, all, [...loops, ...ties], arrays);
  const measured = new Uint8Array(feeder.count);
  for (const e of evidence) measured[e.section] = 1;
  const read = fullyRead(feeder, evidence);
  const readable = new Uint8Array(feeder.count);
  for (const t of feeder.terminals.values()) readable[t.section] = 1;
  const anywhere = feeder.terminals.size === 0;
  return {
    feeder,
    solution,
    evidence: all,
    corrections: corrections(solution, all, () => explain(solution, all), standing.recorded),
    suspects: suspects(
      solution,
      all.map((e) => e.section),
    ).filter((s) => beyondRecord(feeder, standing, s) >= SUSPECTED),
    sites: suspectSites(solution, evidence),
    conflicts: conflicts(solution, ties),
    suggestions: nextBest(solution, read, anywhere ? undefined : readable).filter((s) => s.settles >= WORTH_A_WAY),
    measured,
    read,
    standing,
  };
}

/** Sections all of whose conductors were read by their angles: weaker evidence leaves something that a reading there would settle. */
function fullyRead({ count, mask }: Feeder, evidence: readonly SiteEvidence[]): Uint8Array {
  const read = new Uint8Array(count);
  for (const e of evidence) read[e.section]! |= e.read ?? 0;
  return read.map((conductors, v) => (v > 0 && (conductors & mask[v]!) === mask[v]! ? 1 : 0));
}

/** Expected crossings among these sections beyond those that the record, with what was accepted, has there already. */
const beyondRecord = ({ parent, mask }: Feeder, { recorded }: Standing, { mass, sections }: Suspect): number =>
  mass -
  sections.filter(
    ({ section: v }) => projection(recorded[v]!, mask[v]!) !== projection(recorded[parent[v]!]!, mask[v]!),
  ).length;

export interface ConductorPhase {
  readonly recorded: string;
  readonly phase: string;
  readonly probability: number;
}

/** The likeliest phase of each conductor of a section, each by itself. */
export function conductorPhases({ feeder, solution, standing }: FeederTrace, v: number): ConductorPhase[] {
  return feeder.phases.flatMap((_, j) => {
    const recorded = feeder.phases[image(standing.recorded[v]!, j)]!;
    if (!((feeder.mask[v]! >> j) & 1)) return [];
    const on = [0, 0, 0];
    for (let s = 0; s < STATES; s++) on[image(s, j)]! += solution.belief[STATES * v + s]!;
    const best = on.indexOf(Math.max(...on));
    return [{ recorded, phase: feeder.phases[best]!, probability: on[best]! }];
  });
}

/** The phases on which a permutation puts the conductors of a section. */
export const phasesOf = ({ phases, mask }: Feeder, v: number, state: number): string[] =>
  [0, 1, 2].filter((j) => (mask[v]! >> j) & 1).map((j) => phases[image(state, j)]!);

/** The likeliest phases of a section's conductors together, beside the record with what was accepted. */
export function sectionLabel({ feeder, solution, standing }: FeederTrace, v: number): TraceLabel {
  const { state, probability } = bestProjection(solution, v);
  return {
    section: feeder.ids[v]!,
    recorded: phasesOf(feeder, v, standing.recorded[v]!),
    phases: phasesOf(feeder, v, state),
    probability,
  };
}
