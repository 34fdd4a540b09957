/** A trace as columns, one entry a section, for drawing: small on the line, quick to go through. */
import { image } from './permutation';
import { bestProjection } from './solve';
import { type FeederTrace, sectionLabel } from './trace';

export interface FeederPicture {
  readonly feeder: string;
  readonly name: string;
  readonly phases: readonly string[];
  /** entry 0 is the node that feeds it all; each section comes after the one that feeds it */
  readonly ids: readonly string[];
  readonly parent: readonly number[];
  readonly kinds: readonly string[];
  /** bit j: the conductor recorded as phases[j] is present */
  readonly mask: readonly number[];
  /** three a section: index of the phase that counts as recorded for the conductor recorded as phases[0], [1], [2] in the document */
  readonly recorded: readonly number[];
  /** three a section: index of the likeliest phase of the conductor recorded as phases[0], [1], [2]; -1 where there is none */
  readonly likeliest: readonly number[];
  /** three a section: its probability, each conductor by itself */
  readonly probability: readonly number[];
  /** of the likeliest phases of a section's conductors together */
  readonly together: readonly number[];
  /** that a section carries a change between it and the one above */
  readonly change: readonly number[];
  /** sections with evidence of their own */
  readonly measured: readonly number[];
  /** sections with a terminal that can be read */
  readonly readable: readonly number[];
  readonly unfed: readonly string[];
}

/** Probabilities are told to a ten-thousandth, downwards: none is told as certain that is not. */
const told = (p: number): number => Math.floor(1e4 * Math.min(1, Math.max(0, p)) + 1e-9) / 1e4;

export function feederPicture(trace: FeederTrace): FeederPicture {
  const { feeder, solution, measured, standing } = trace;
  const recorded: number[] = [];
  const likeliest: number[] = [];
  const probability: number[] = [];
  const together: number[] = [];
  for (let v = 0; v < feeder.count; v++) {
    const best = bestProjection(solution, v);
    together.push(told(best.probability));
    for (let j = 0; j < 3; j++) {
      const present = v === 0 || ((feeder.mask[v]! >> j) & 1) === 1;
      const p = present ? conductor(trace, v, j) : { phase: -1, probability: 0 };
      recorded.push(present ? image(standing.recorded[v]!, j) : -1);
      likeliest.push(p.phase);
      probability.push(told(p.probability));
    }
  }
  return {
    feeder: feeder.id,
    name: feeder.document.name ?? feeder.id,
    phases: feeder.phases,
    ids: feeder.ids,
    parent: Array.from(feeder.parent),
    kinds: feeder.kinds,
    mask: Array.from(feeder.mask),
    recorded,
    likeliest,
    probability,
    together,
    change: Array.from(solution.change, told),
    measured: [...measured.keys()].filter((v) => measured[v] === 1),
    readable: [...new Set([...feeder.terminals.values()].map((t) => t.section))].sort((a, b) => a - b),
    unfed: feeder.unfed,
  };
}

function conductor({ solution }: FeederTrace, v: number, j: number): { phase: number; probability: number } {
  const on = [0, 0, 0];
  for (let s = 0; s < 6; s++) on[image(s, j)]! += solution.belief[6 * v + s]!;
  const phase = on.indexOf(Math.max(...on));
  return { phase, probability: on[phase]! };
}

export interface EvidenceNear {
  readonly section: string;
  /** sections between */
  readonly steps: number;
  /** records of the evidence there */
  readonly from: readonly string[];
}

/** The evidence a section's phases rest on most directly: at it, or the first in every direction along the conductors, nearest first. */
export function evidenceNear({ feeder, evidence }: FeederTrace, section: number, most = 20): EvidenceNear[] {
  const at = new Map<number, string[]>();
  for (const e of evidence) at.set(e.section, [...(at.get(e.section) ?? []), ...e.from]);
  const joined = new Map<number, number[]>();
  const join = (v: number, u: number) => {
    const list = joined.get(v);
    if (list) list.push(u);
    else joined.set(v, [u]);
  };
  for (let v = 1; v < feeder.count; v++) {
    join(v, feeder.parent[v]!);
    join(feeder.parent[v]!, v);
  }
  for (const { closing, other } of feeder.loops) {
    join(closing, other);
    join(other, closing);
  }
  const found: EvidenceNear[] = [];
  const seen = new Set([section]);
  let front = [section];
  for (let steps = 0; front.length > 0 && found.length < most; steps++) {
    const next: number[] = [];
    for (const v of front) {
      const from = at.get(v);
      if (from) found.push({ section: feeder.ids[v]!, steps, from });
      if (from && v !== section) continue;
      // The record is taken as true at the source: nothing passes beyond it.
      for (const u of joined.get(v) ?? []) {
        if (u === 0 || seen.has(u)) continue;
        seen.add(u);
        next.push(u);
      }
    }
    front = next;
  }
  return found.slice(0, most);
}

/** One section: what is recorded, what the evidence says of each conductor, and on what it rests. */
export function sectionPicture(trace: FeederTrace, section: number) {
  const { feeder, solution } = trace;
  const label = sectionLabel(trace, section);
  return {
    ...label,
    kind: feeder.kinds[section]!,
    fedBy: feeder.ids[feeder.parent[section]!]!,
    change: told(solution.change[section]!),
    terminals: [...feeder.terminals.values()].filter((t) => t.section === section).map((t) => t.id),
    near: evidenceNear(trace, section),
  };
}
export type SectionPicture = ReturnType<typeof sectionPicture>;
