/** Which decisions of people stand, and what they make of the record of a feeder. */
import { canonicalJson, digest } from '../derived-id';
import type { Correction } from '../records';
import { recordedAfter } from './decide';
import type { SiteEvidence } from './evidence';
import type { Feeder } from './model';
import { image, projection, STATES } from './permutation';

/**
 * Weight of every other order of the conductors beside the one a person accepted. Common practice, no source: small enough that an accepted
 * label stands without its readings, though crossings are rare; large enough that later readings at two sites against it prevail, and at
 * one site leave it unsettled. One piece of evidence for all neighbouring sections with one correction: a crossing is accepted once,
 * however many labels hang on it.
 */
export const ACCEPTED_DOUBT = 1e-5;

export interface Standing {
  /** decisions about sections of the feeder whose rows still stand */
  readonly decisions: ReadonlyMap<number, Correction>;
  /** for each section the permutation that counts as recorded; 0: as the feeder document says */
  readonly recorded: Uint8Array;
  /** what the accepted corrections say about the conductors */
  readonly evidence: readonly SiteEvidence[];
}

export function standing(feeder: Feeder, made: Iterable<Correction>): Standing {
  const decisions = new Map<number, Correction>();
  const recorded = new Uint8Array(feeder.count);
  const rows = rowDigests(feeder);
  for (const correction of made) {
    const v = feeder.indexOf.get(correction.section);
    const state = v === undefined ? -1 : stateOf(feeder, v, recordedAfter(correction));
    if (v === undefined || state < 0 || (correction.rowDigest ?? rows(v)) !== rows(v)) continue;
    decisions.set(v, correction);
    recorded[v] = state;
  }
  return { decisions, recorded, evidence: acceptedEvidence(feeder, decisions, recorded) };
}

/** The first permutation that puts the conductors present on these phases; -1 when they are others. */
function stateOf(feeder: Feeder, v: number, phases: readonly string[]): number {
  const present = presentIn(feeder.mask[v]!);
  const wanted = phases.map((p) => feeder.phases.indexOf(p));
  if (wanted.length !== present.length) return -1;
  for (let s = 0; s < STATES; s++) if (present.every((j, i) => image(s, j) === wanted[i])) return s;
  return -1;
}

const presentIn = (mask: number): number[] => [0, 1, 2].filter((j) => (mask >> j) & 1);

function acceptedEvidence(
  { parent, mask }: Feeder,
  decisions: ReadonlyMap<number, Correction>,
  recorded: Uint8Array,
): SiteEvidence[] {
  return [...decisions].flatMap(([section, { id }]) => {
    const held = recorded[section]!;
    const like = (s: number) => projection(s, mask[section]!) === projection(held, mask[section]!);
    if (held === 0 || like(recorded[parent[section]!]!)) return [];
    const likelihood = Float64Array.from({ length: STATES }, (_, s) => (like(s) ? 1 : ACCEPTED_DOUBT));
    return [{ section, from: [id], likelihood }];
  });
}

/**
 * Digest of the rows from which the labels of a section are told: its phases, and the terminals first met at or below it. When a record
 * is mended in the feeder document itself, a decision about it must not be applied a second time.
 */
export function rowDigests(feeder: Feeder): (v: number) => string {
  let below: number[][] | undefined;
  let at: Map<number, string[]> | undefined;
  const known = new Map<number, string>();
  return (v) => {
    below ??= children(feeder);
    at ??= terminalsAt(feeder);
    const held = known.get(v) ?? digest(canonicalJson([feeder.mask[v], met(v, below, at)]));
    known.set(v, held);
    return held;
  };
}

function met(v: number, below: readonly number[][], at: ReadonlyMap<number, string[]>): string[] {
  const found: string[] = [];
  const open = [v];
  while (open.length > 0) {
    const u = open.pop()!;
    const here = at.get(u);
    if (here) found.push(...here);
    else open.push(...below[u]!);
  }
  return found.sort();
}

function children({ count, parent }: Feeder): number[][] {
  const below: number[][] = Array.from({ length: count }, () => []);
  for (let v = 1; v < count; v++) below[parent[v]!]!.push(v);
  return below;
}

function terminalsAt({ terminals, phases }: Feeder): Map<number, string[]> {
  const at = new Map<number, string[]>();
  for (const { id, section, conductor } of terminals.values()) {
    const here = at.get(section) ?? [];
    here.push(`${id} ${phases[conductor]}`);
    at.set(section, here);
  }
  return at;
}
