/** One message as it came to the door, and what was made of it. */
import { createHash } from 'node:crypto';
import type { Reading, Rejection } from '../../lib/records';

export interface Arrival {
  readonly topic: string;
  readonly bytes: Buffer;
  readonly receivedAtUs: number;
  readonly retain: boolean;
}

/** What one message held: good readings, and one rejection for all that was wrong with the rest. */
export interface Taken {
  readonly readings: readonly Reading[];
  /** each reading as JSON text */
  readonly texts: readonly string[];
  readonly rejection: Rejection | undefined;
}

const SOURCE_LENGTH = 200;

/** The topic as records carry it: a longer one is cut and ends in a digest, so that different topics stay different. */
export function sourceOf(topic: string): string {
  if (topic.length <= SOURCE_LENGTH) return topic === '' ? 'input' : topic;
  const digest = createHash('sha256').update(topic).digest('hex').slice(0, 16);
  return `${topic.slice(0, SOURCE_LENGTH - 20)}...#${digest}`;
}
