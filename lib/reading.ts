/** A reading as it comes through the front door: checked, its instant normalised, its id derived. */
import { derivedId } from './derived-id';
import { formatInstant, parseInstant } from './instant';
import type { Problem, Reading } from './records';
import { problemsOf } from './validate';

export type ParsedReading =
  | { readonly ok: true; readonly reading: Reading }
  | { readonly ok: false; readonly problems: readonly Problem[] };

export interface Arrival {
  /** when it came in, microseconds since the epoch: a reading cannot have been taken (much) later */
  readonly receivedAtUs?: number;
  /** how far ahead of us an instrument's clock may be, seconds */
  readonly futureToleranceS?: number;
  /** terminals that exist; anything else is a problem. Left out: any terminal */
  readonly terminals?: { has(id: string): boolean };
}

const EARLIEST_US = parseInstant('2000-01-01T00:00:00Z');

/**
 * Checks a value of unknown origin and makes it a frozen Reading, or says what is wrong, where, and what would be right.
 * @example parseReading({ kind: 'reading', terminal: 'a/1', takenAt: '2026-05-04T10:15:30Z', angleDeg: -118.4, against: 'utc' }).ok // true
 */
export function parseReading(value: unknown, arrival: Arrival = {}): ParsedReading {
  const whole = withKind(value);
  const problems = problemsOf('reading', whole);
  if (problems.length > 0) return { ok: false, problems };
  const wire = whole as Reading;
  const takenAtUs = parseInstant(wire.takenAt);
  const worldly = worldlyProblems(wire, takenAtUs, arrival);
  if (worldly.length > 0) return { ok: false, problems: worldly };
  const content = { ...wire, takenAt: formatInstant(takenAtUs) };
  return { ok: true, reading: Object.freeze({ ...content, id: derivedId('reading', content) }) };
}

/** `kind` may be left out on the wire: nothing else comes through this door. */
function withKind(value: unknown): unknown {
  const isObject = value !== null && typeof value === 'object' && !Array.isArray(value);
  return isObject && !('kind' in value) ? { ...value, kind: 'reading' } : value;
}

function worldlyProblems(reading: Reading, takenAtUs: number, arrival: Arrival): Problem[] {
  const problems: Problem[] = [];
  const latestUs = (arrival.receivedAtUs ?? Number.POSITIVE_INFINITY) + (arrival.futureToleranceS ?? 5) * 1e6;
  if (takenAtUs < EARLIEST_US || takenAtUs > latestUs) {
    const expected = `between 2000-01-01 and ${arrival.futureToleranceS ?? 5} s after arrival`;
    problems.push({
      at: '/takenAt',
      code: 'instant-implausible',
      what: `${reading.takenAt} is not plausible`,
      expected,
    });
  }
  if (arrival.terminals && !arrival.terminals.has(reading.terminal)) {
    problems.push({
      at: '/terminal',
      code: 'terminal-unknown',
      what: `${JSON.stringify(reading.terminal)} is not in the network`,
      expected: 'the id of a terminal of the network',
    });
  }
  return problems;
}

/** Instant of a validated reading, microseconds since the epoch. */
export const takenAtUs = (reading: Reading): number => parseInstant(reading.takenAt);
