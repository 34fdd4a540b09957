/** The rejection record of a frame, or of a channel of one, that could not be used. */
import { derivedId, digest } from '../derived-id';
import { formatInstant } from '../instant';
import type { Problem, Rejection } from '../records';

const EXCERPT_BYTES = 512;

/**
 * @param source the stream, e.g. 'synchrophasor 7 tcp://10.0.0.2:4712'
 * @param receivedAtUs microseconds since the epoch
 */
export function refusedFrame(
  source: string,
  bytes: Uint8Array,
  receivedAtUs: number,
  problem: Problem,
  terminal: string | null = null,
): Rejection {
  const text = hex(bytes);
  return Object.freeze({
    kind: 'rejection',
    id: derivedId('rejection', { source, frame: digest(text), code: problem.code, at: problem.at, terminal }),
    at: formatInstant(receivedAtUs),
    from: [],
    source: source.slice(0, 200),
    terminal,
    stage: 'front-door',
    problems: [problem],
    bytes: bytes.length,
    excerpt: hex(bytes.subarray(0, EXCERPT_BYTES)),
  });
}

const hex = (bytes: Uint8Array): string => Array.from(bytes, (b) => b.toString(16).padStart(2, '0')).join('');
