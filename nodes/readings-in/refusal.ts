/** The rejection record of a message that could not be used, or not wholly. */
import { createHash } from 'node:crypto';
import { derivedId } from '../../lib/derived-id';
import { formatInstant } from '../../lib/instant';
import type { Problem, Rejection } from '../../lib/records';
import { type Arrival, sourceOf } from './arrival';

const EXCERPT_LENGTH = 4096;
const MAX_PROBLEMS = 50;

/** The id rests on the bytes and where they came from: a message that is delivered again makes the same rejection. */
export function refusal(arrival: Arrival, problems: readonly Problem[], terminal: string | null): Rejection {
  const source = sourceOf(arrival.topic);
  const sha256 = createHash('sha256').update(arrival.bytes).digest('hex');
  return Object.freeze({
    kind: 'rejection',
    id: derivedId('rejection', { source, sha256 }),
    at: formatInstant(arrival.receivedAtUs),
    from: [],
    source,
    terminal,
    stage: 'front-door',
    problems: atMost(problems),
    bytes: arrival.bytes.length,
    excerpt: excerptOf(arrival.bytes),
  });
}

function atMost(problems: readonly Problem[]): Problem[] {
  if (problems.length <= MAX_PROBLEMS) return [...problems];
  const untold = problems.length - MAX_PROBLEMS + 1;
  const last = { at: '', code: 'more-problems', what: `${untold} more problems`, expected: 'mend those above first' };
  return [...problems.slice(0, MAX_PROBLEMS - 1), last];
}

/** The start of the bytes as text. NUL is shown as its picture: no database would take it. */
function excerptOf(bytes: Buffer): string {
  return bytes.toString('utf8', 0, EXCERPT_LENGTH).replaceAll('\0', '\u2400').slice(0, EXCERPT_LENGTH);
}

/** The terminal a broken reading names, if it does. */
export function terminalOf(value: unknown): string | null {
  const named = (value as { terminal?: unknown } | null | undefined)?.terminal;
  const usable = typeof named === 'string' && named.length > 0 && named.length <= 200 && !named.includes('\0');
  return usable ? named : null;
}
