/** A reading as it comes through the front door: checked, its instant normalised, its id derived. */
import { identified } from './derived-id';
import { formatInstant, parseInstant } from './instant';
import { plainJson } from './plain-json';
import type { Problem, Reading } from './records';
import { problemsOf } from './validate';

export type ParsedReading =
  | {
      readonly ok: true;
      readonly reading: Reading;
      /** the reading as JSON text */
      readonly json: string;
    }
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
const FUTURE_TOLERANCE_S = 5;

/**
 * Checks a value of unknown origin and makes it a frozen Reading, or says what is wrong, where, and what would be right.
 * The reading shares nothing with the value. Members that are not ours are kept, an `id` is not: it is derived from the rest.
 * `kind` may be left out: nothing else comes through this door.
 * @example parseReading({ terminal: 'a/1', takenAt: '2026-05-04T10:15:30Z', angleDeg: -118.4, against: 'utc' }).ok // true
 * @example parseReading({ terminal: 'a/1', takenAt: '2026-05-04T10:15:30Z' }).problems.length // 1
 */
export function parseReading(value: unknown, arrival: Arrival = {}): ParsedReading {
  const plain = plainJson(value);
  const content = isRecord(plain.value) ? plain.value : undefined;
  if (content) {
    content.kind ??= 'reading';
    delete content.id;
  }
  const problems = merged(problemsOf('reading', content ?? plain.value), plain.problems);
  if (problems.length > 0) return { ok: false, problems };
  return accepted(content as Wire, arrival);
}

/** What could not be copied is not "missing", and what the schema found at a place need not be told twice. */
function merged(fromSchema: readonly Problem[], fromCopy: readonly Problem[]): readonly Problem[] {
  if (fromCopy.length === 0) return fromSchema;
  const told = fromSchema.filter((p) => p.code !== 'schema-required' || !fromCopy.some((q) => q.at === p.at));
  return [...told, ...fromCopy.filter((q) => !told.some((p) => p.at === q.at))];
}

type Wire = Record<string, unknown> & Omit<Reading, 'id' | 'takenAt'> & { id?: string; takenAt: string };

function accepted(content: Wire, arrival: Arrival): ParsedReading {
  const takenAtUs = parseInstant(content.takenAt);
  const problems = worldlyProblems(content, takenAtUs, arrival);
  if (problems.length > 0) return { ok: false, problems };
  content.takenAt = formatInstant(takenAtUs);
  const { id, json } = identified('reading', content);
  content.id = id;
  return { ok: true, reading: Object.freeze(content) as Reading, json };
}

const isRecord = (value: unknown): value is Record<string, unknown> =>
  value !== null && typeof value === 'object' && !Array.isArray(value);

function worldlyProblems(reading: Wire, takenAtUs: number, arrival: Arrival): Problem[] {
  const problems: Problem[] = [];
  const aheadS = arrival.futureToleranceS ?? FUTURE_TOLERANCE_S;
  const latestUs = (arrival.receivedAtUs ?? Number.POSITIVE_INFINITY) + aheadS * 1e6;
  if (takenAtUs < EARLIEST_US || takenAtUs > latestUs) {
    problems.push({
      at: '/takenAt',
      code: 'instant-implausible',
      what: `${reading.takenAt} is ${takenAtUs > latestUs ? 'later than it came in' : 'before any such instrument'}`,
      expected: `an instant from 2000-01-01 to ${aheadS} s after arrival${arrival.receivedAtUs === undefined ? '' : ` (${formatInstant(arrival.receivedAtUs)})`}`,
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
