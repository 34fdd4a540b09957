/** Records that fit their schemas, for the ledger's tests. */
import { derivedId } from '../../lib/derived-id';
import { formatInstant, parseInstant } from '../../lib/instant';
import { parseReading } from '../../lib/reading';
import type { Alert, Comparison, Identification, Kind, Reading, Rejection, Rotation } from '../../lib/records';
import { problemsOf } from '../../lib/validate';
import type { AdmittedReading } from '../../nodes/ledger/ledger';

/** 4 May 2026, 10:15:30 UTC, the instant of the example on the wire. */
export const T0 = parseInstant('2026-05-04T10:15:30Z');
const SECOND = 1e6;
export const at = (seconds: number): number => T0 + seconds * SECOND;

export function reading(terminal: string, seconds: number, more: Partial<Reading> = {}): Reading {
  const parsed = parseReading({
    terminal,
    takenAt: formatInstant(at(seconds)),
    angleDeg: -118.4,
    against: 'utc',
    ...more,
  });
  if (!parsed.ok) throw new Error(JSON.stringify(parsed.problems));
  return parsed.reading;
}

export const admitted = (r: Reading): AdmittedReading => ({ reading: r, source: 'test', receivedAtUs: at(3600) });

export function identification(terminal: string, seconds: number, more: Partial<Identification> = {}): Identification {
  return sealed<Identification>({
    kind: 'identification',
    id: '',
    at: formatInstant(at(seconds)),
    from: [],
    terminal,
    verdict: 'identified',
    phase: 'B',
    connection: 'phase-neutral',
    slot: 8,
    probability: 0.998,
    candidates: [],
    angleDeg: -118.4,
    expectedDeg: -120,
    residualDeg: 1.6,
    sdDeg: 2.1,
    reference: 'ref',
    recordedPhase: null,
    agreesWithRecord: null,
    reasons: [],
    ...more,
  });
}

export function rotation(site: string, terminals: string[], seconds: number, more: Partial<Rotation> = {}): Rotation {
  return sealed<Rotation>({
    kind: 'rotation',
    id: '',
    at: formatInstant(at(seconds)),
    from: [],
    site,
    terminals,
    viewing: 'left-to-right',
    verdict: 'decided',
    sequence: 'ABC',
    turns: 'clockwise',
    recordedSequence: null,
    agreesWithRecord: null,
    anglesDeg: [0, -120, 120],
    probability: 0.999,
    components: null,
    unbalance: null,
    reasons: [],
    ...more,
  });
}

export function comparison(openPoint: string, seconds: number, more: Partial<Comparison> = {}): Comparison {
  return sealed<Comparison>({
    kind: 'comparison',
    id: '',
    at: formatInstant(at(seconds)),
    from: [],
    openPoint,
    verdict: 'not-proven',
    landing: null,
    belongs: [],
    pairs: [],
    probability: 0.5,
    standingAngleDeg: null,
    standingAngleUpperDeg: null,
    toleranceDeg: 20,
    proof: null,
    reasons: [],
    ...more,
  });
}

export function alert(key: string, revision: number, seconds: number, more: Partial<Alert> = {}): Alert {
  return sealed<Alert>({
    kind: 'alert',
    id: '',
    at: formatInstant(at(seconds)),
    from: [],
    key,
    category: 'tie-mismatch',
    subject: 'hollin-bank/T7',
    priority: 'high',
    state: 'unacknowledged',
    active: true,
    transition: 'raised',
    revision,
    text: 'left 2 and right 3 are not the same phase',
    since: formatInstant(at(0)),
    evidenceAt: formatInstant(at(0)),
    count: 1,
    ...more,
  });
}

export function rejection(terminal: string | null, seconds: number, more: Partial<Rejection> = {}): Rejection {
  return sealed<Rejection>({
    kind: 'rejection',
    id: '',
    at: formatInstant(at(seconds)),
    from: [],
    source: 'test',
    terminal,
    stage: 'front-door',
    problems: [{ at: '/angleDeg', code: 'schema-type', what: '"x" must be number', expected: 'a number' }],
    bytes: 3,
    excerpt: '"x"',
    ...more,
  });
}

function sealed<T extends { kind: Kind; id: string }>(record: T): T {
  const made = { ...record, id: derivedId(record.kind, record) };
  const problems = problemsOf(record.kind, made);
  if (problems.length > 0) throw new Error(JSON.stringify(problems));
  return Object.freeze(made);
}
