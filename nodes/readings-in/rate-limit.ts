/**
 * At most so many readings a minute of one topic or instrument. Counted by when they were taken, so that what a broker kept during an
 * outage is not turned aside for coming all at once. What is over the limit becomes part of the rejection of its message, which is
 * stored before the message is acknowledged: turned aside, told, never lost silently.
 */
import type { Problem, Reading } from '../../lib/records';
import type { Arrival, Taken } from './arrival';
import { refusal } from './refusal';

export type LimitBy = 'topic' | 'instrument';

/** Minutes of publishers remembered; the oldest go first. */
const REMEMBERED = 20_000;
/** yyyy-mm-ddThh:mm of an instant in UTC */
const MINUTE_LENGTH = 16;

export class RateLimit {
  private readonly counts = new Map<string, number>();

  constructor(
    private readonly perMinute: number,
    private readonly by: LimitBy,
  ) {}

  /** What of a message is within the limit, and a rejection for the rest. */
  apply(taken: Taken, arrival: Arrival): Taken {
    const readings: Reading[] = [];
    const problems: Problem[] = [];
    for (const [i, reading] of taken.readings.entries()) {
      const who = this.publisherOf(reading, arrival);
      if (this.fits(who, reading.takenAt.slice(0, MINUTE_LENGTH))) readings.push(reading);
      else problems.push(this.problem(who, reading, taken.readings.length > 1 ? `/${i}` : ''));
    }
    if (problems.length === 0) return taken;
    const terminal = taken.readings.length === 1 ? taken.readings[0]!.terminal : null;
    return { readings, rejection: refusal(arrival, [...(taken.rejection?.problems ?? []), ...problems], terminal) };
  }

  private publisherOf({ instrument }: Reading, { topic }: Arrival): string {
    return this.by === 'instrument' && instrument ? `instrument ${instrument.id}` : `topic ${topic}`;
  }

  private fits(who: string, minute: string): boolean {
    const key = `${minute} ${who}`;
    const count = this.counts.get(key) ?? 0;
    if (count >= this.perMinute) return false;
    this.counts.set(key, count + 1);
    if (this.counts.size > REMEMBERED) this.counts.delete(this.counts.keys().next().value!);
    return true;
  }

  private problem(who: string, { takenAt }: Reading, at: string): Problem {
    return {
      at,
      code: 'rate-exceeded',
      what: `${who}: more than ${this.perMinute} readings taken in the minute of ${takenAt}`.slice(0, 1000),
      expected: `at most ${this.perMinute} readings a minute from one ${this.by}`,
    };
  }
}
