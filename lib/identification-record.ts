/** The record of an identification. */
import { difference } from './angle';
import { type ConductorAngle, distinct } from './conductor-angle';
import { derivedId } from './derived-id';
import { type Frame, stampOf } from './frame';
import { formatInstant } from './instant';
import { takenAtUs } from './reading';
import type { Candidate, Connection, Identification, Reading, Reason } from './records';

export const IDENTIFICATION_CAUTION =
  'Evidence from angle readings only. It is not a test for absence of voltage and permits nothing: verify by the local rules.';

/** What the evidence says about one conductor. */
export interface Statement {
  readonly terminal: string;
  readonly site: string | undefined;
  readonly recordedPhase: string | undefined;
  /** what it rests on */
  readonly readings: readonly Reading[];
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
export function identificationRecord(s: Statement, frame: Frame): Identification {
  const { terminal, verdict, phase, connection, slot, conductor, expectedDeg } = s;
  const from = s.readings.length === 1 ? [s.readings[0]!.id] : s.readings.map((r) => r.id).sort();
  const said = {
    kind: 'identification' as const,
    terminal,
    from,
    frame: stampOf(frame),
    verdict,
    phase,
    connection,
    slot,
  };
  const angleDeg = conductor?.angleDeg ?? null;
  const recordedPhase = s.recordedPhase ?? null;
  return Object.freeze({
    ...said,
    id: derivedId('identification', said),
    at: newest(s.readings),
    from: conductor?.referenceFrom.length ? [...from, ...conductor.referenceFrom] : from,
    caution: IDENTIFICATION_CAUTION,
    ...(s.site === undefined ? {} : { site: s.site }),
    probability: s.probability,
    candidates: bestFirst(s.candidates),
    angleDeg,
    expectedDeg,
    residualDeg: angleDeg === null || expectedDeg === null ? null : difference(angleDeg, expectedDeg),
    sdDeg: s.sdDeg,
    reference: conductor?.reference ?? null,
    recordedPhase,
    agreesWithRecord: phase === null || recordedPhase === null ? null : phase === recordedPhase,
    reasons: [...distinct([...s.reasons, ...(conductor?.reservations ?? [])])],
  });
}

/** Instant of the newest reading. */
export const newest = (readings: readonly Reading[]): string =>
  readings.length === 1 ? readings[0]!.takenAt : formatInstant(Math.max(...readings.map(takenAtUs)));

/** Candidates below this are not worth a line; the best two always are. */
const LEAST_SHOWN = 1e-6;

function bestFirst(candidates: readonly Candidate[]): Candidate[] {
  return [...candidates]
    .sort((a, b) => b.probability - a.probability)
    .filter(({ probability }, i) => i < 2 || probability >= LEAST_SHOWN);
}
