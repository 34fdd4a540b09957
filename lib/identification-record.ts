/** The record of an identification. */
import { difference } from './angle';
import { type ConductorAngle, distinct } from './conductor-angle';
import { derivedId } from './derived-id';
import { type Frame, stampOf } from './frame';
import { takenAtUs } from './reading';
import type { Candidate, Connection, Identification, Reading, Reason } from './records';

export const IDENTIFICATION_CAUTION =
  'Evidence from angle readings only. It is not a test for absence of voltage and permits nothing: verify by the local rules.';

/** What a statement rests on. */
export interface Rests {
  /** ids of the readings, sorted */
  readonly from: readonly string[];
  /** instant of the newest */
  readonly at: string;
}

export const restsOn = (readings: readonly Reading[]): Rests => ({
  from: readings.length === 1 ? [readings[0]!.id] : readings.map((r) => r.id).sort(),
  at: newest(readings),
});

/** The conductor that is spoken of. */
export interface Subject {
  readonly terminal: string;
  readonly site: string | undefined;
  readonly recordedPhase: string | undefined;
  readonly rests: Rests;
}

/** What the evidence says about it. */
export interface Statement {
  readonly verdict: Identification['verdict'];
  /** null unless the verdict names it */
  readonly phase: string | null;
  readonly connection: Connection | null;
  readonly slot: number | null;
  readonly probability: number;
  readonly candidates: readonly Candidate[];
  readonly conductor: ConductorAngle | undefined;
  readonly expectedDeg: number | null;
  readonly sdDeg: number | null;
  readonly reasons: readonly Reason[];
}

/**
 * A frozen record of a statement. Its id rests on what is said and on which readings, not on figures that a replay may move
 * in the last digits.
 */
export function identificationRecord(subject: Subject, s: Statement, frame: Frame): Identification {
  const { terminal, site, rests } = subject;
  const { verdict, phase, connection, slot, conductor, expectedDeg } = s;
  const kind = 'identification';
  const stamp = stampOf(frame);
  const { from, at } = rests;
  // With the instant, so that the id begins with it; members in order: then the id costs half.
  const said = { at, connection, frame: stamp, from, kind, phase, slot, terminal, verdict };
  const angleDeg = conductor?.angleDeg ?? null;
  const recordedPhase = subject.recordedPhase ?? null;
  const record: { -readonly [K in keyof Identification]: Identification[K] } = {
    kind,
    id: derivedId(kind, said),
    terminal,
    at,
    from: conductor?.referenceFrom.length ? [...from, ...conductor.referenceFrom] : [...from],
    frame: stamp,
    verdict,
    phase,
    connection,
    slot,
    probability: s.probability,
    candidates: bestFirst(s.candidates),
    angleDeg,
    expectedDeg,
    residualDeg: angleDeg === null || expectedDeg === null ? null : difference(angleDeg, expectedDeg),
    sdDeg: s.sdDeg,
    reference: conductor?.reference ?? null,
    recordedPhase,
    agreesWithRecord: phase === null || recordedPhase === null ? null : phase === recordedPhase,
    reasons: reasonsOf(s),
    caution: IDENTIFICATION_CAUTION,
  };
  if (site !== undefined) record.site = site;
  return Object.freeze(record);
}

function reasonsOf({ reasons, conductor }: Statement): Reason[] {
  const reservations = conductor?.reservations ?? [];
  return reasons.length + reservations.length === 0 ? [] : [...distinct([...reasons, ...reservations])];
}

/** Instant of the newest reading. */
export const newest = (readings: readonly Reading[]): string =>
  readings.reduce((a, b) => (takenAtUs(b) > takenAtUs(a) ? b : a)).takenAt;

/** Candidates below this are not worth a line; the best two always are. */
const LEAST_SHOWN = 1e-6;

function bestFirst(candidates: readonly Candidate[]): Candidate[] {
  // Insertion: there are few, and nearly in order.
  const sorted = candidates.slice();
  for (let i = 1; i < sorted.length; i++) {
    const candidate = sorted[i]!;
    let j = i - 1;
    for (; j >= 0 && sorted[j]!.probability < candidate.probability; j--) sorted[j + 1] = sorted[j]!;
    sorted[j + 1] = candidate;
  }
  return sorted.filter(({ probability }, i) => i < 2 || probability >= LEAST_SHOWN);
}
