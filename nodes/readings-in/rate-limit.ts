/**
 * At most so many readings a minute of one topic or instrument. Counted by when they were taken, so that what a broker kept during an
 * outage is not turned aside for coming all at once. What is over the limit becomes part of the rejection of its message, which is
 * stored before the message is acknowledged: turned aside, told, never lost silently. A reading counts once, however often its message
 * is delivered.
 */
import type { Problem, Reading } from '../../lib/records';
import type { Arrival, Taken } from './arrival';
import { refusal } from './refusal';

export type LimitBy = 'topic' | 'instrument';

/** Readings remembered; the oldest minutes of publishers go first. */
const REMEMBERED = 100_000;
/** yyyy-mm-ddThh:mm of an instant in UTC */
const MINUTE_LENGTH = 16;

export class RateLimit {
  /** ids of the readings within the limit, by minute and publisher */
  private readonly within = new Map<string, Set<string>>();
  private remembered = 0;

  constructor(
    private readonly perMinute: number,
    private readonly by: LimitBy,
  ) {}

  /** What of a message is within the limit, and a rejection for the rest. */
  apply(taken: Taken, arrival: Arrival): Taken {
    const readings: Reading[] = [];
    const texts: string[] = [];
    const problems: Problem[] = [];
    for (const [i, reading] of taken.readings.entries()) {
      const who = this.publisherOf(reading, arrival);
      if (this.fits(who, reading)) {
        readings.push(reading);
        texts.push(taken.texts[i]!);
      } else problems.push(this.problem(who, reading, taken.readings.length > 1 ? `/${i}` : ''));
    }
    if (problems.length === 0) return taken;
    const terminal = taken.readings.length === 1 ? taken.readings[0]!.terminal : null;
    return {
      readings,
      texts,
      rejection: refusal(arrival, [...(taken.rejection?.problems ?? []), ...problems], terminal),
    };
  }

  private publisherOf({ instrument }: Reading, { topic }: Arrival): string {
    return this.by === 'instrument' && instrument ? `instrument ${instrument.id}` : `topic ${topic}`;
  }

  private fits(who: string, { id, takenAt }: Reading): boolean {
    const key = `${takenAt.slice(0, MINUTE_LENGTH)} ${who}`;
    const ids = this.within.get(key) ?? new Set();
    if (ids.has(id)) return true;
    if (ids.size >= this.perMinute) return false;
    this.within.set(key, ids.add(id));
    this.remembered++;
    this.forgetOldest();
    return true;
  }

  private forgetOldest(): void {
    for (const [key, ids] of this.within) {
      if (this.remembered <= REMEMBERED || this.within.size === 1) return;
      this.within.delete(key);
      this.remembered -= ids.size;
    }
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
