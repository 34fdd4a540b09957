/** Getting a batch into the ledger, whatever it takes: waits for a ledger that is away, and finds the one message it cannot store. */
import type { Reading } from '../../lib/records';
import { Backoff } from '../kit/backoff';
import type { Admission, AdmittedReading, Ledger } from '../ledger/ledger';
import { type Arrival, sourceOf, type Taken } from './arrival';
import { refusal } from './refusal';

/** One message and what it held. */
export interface Parcel<T> {
  readonly item: T;
  readonly taken: Taken;
}

/** Stored: where in the ledger each of its readings is. */
export interface Stored<T> extends Parcel<T> {
  readonly places: Admission['readings'];
}

/** What became of a batch. */
export interface Committed<T> {
  /** in order: all of it unless the node is closing */
  readonly stored: readonly Stored<T>[];
  /** a write failed on the way and may yet have been committed: "already there" may have been stored just now */
  readonly hadTrouble: boolean;
}

/** Codes with which a ledger gives up on a write without faulting its content. */
const UNAVAILABLE = new Set(['ledger-overflow', 'ledger-closed']);

class Away extends Error {}

export class Storing<T extends Arrival> {
  /** why the ledger takes nothing at the moment, or empty */
  trouble = '';
  /** since when something has been waiting for the ledger, or 0; on a clock that nobody sets */
  private sinceMs = 0;
  failures = 0;
  /** under which door (or lane of it) a reading is stored */
  doorOf: (reading: Reading) => string;
  private readonly backoff = new Backoff({ firstMs: 200, mostMs: 10_000, stableMs: Number.POSITIVE_INFINITY });

  constructor(
    private readonly open: () => Promise<Ledger>,
    doorId: string,
    private readonly isClosing: () => boolean,
  ) {
    this.doorOf = () => doorId;
  }

  /** how long something has been waiting for the ledger */
  get waitsMs(): number {
    return this.sinceMs === 0 ? 0 : performance.now() - this.sinceMs;
  }

  /** Does something with the ledger, again and again until it succeeds; undefined when the node is closing. */
  async whenOpen<R>(use: (ledger: Ledger) => Promise<R>): Promise<R | undefined> {
    do {
      try {
        return await this.once(use);
      } catch {
        await this.pause();
      }
    } while (!this.isClosing());
    return undefined;
  }

  async store(batch: readonly Parcel<T>[]): Promise<Committed<T>> {
    const before = this.failures;
    const stored = await this.commit(batch);
    return { stored, hadTrouble: this.failures > before };
  }

  private async commit(batch: readonly Parcel<T>[]): Promise<readonly Stored<T>[]> {
    do {
      try {
        return withPlaces(batch, await this.admit(batch));
      } catch (cause) {
        if (!(cause instanceof Away)) return this.divide(batch, cause as Error);
        await this.pause();
      }
    } while (!this.isClosing());
    return [];
  }

  private admit(batch: readonly Parcel<T>[]): Promise<Admission> {
    const rejections = batch.flatMap(({ taken }) => taken.rejection ?? []);
    return this.once((ledger) => ledger.admit(this.readingsOf(batch), rejections));
  }

  /** @throws Away when the ledger is not there; whatever the ledger says when it faults the content */
  private async once<R>(use: (ledger: Ledger) => Promise<R>): Promise<R> {
    let isOpen = false;
    this.sinceMs ||= performance.now();
    try {
      const ledger = await this.open();
      isOpen = true;
      const result = await use(ledger);
      this.trouble = '';
      this.sinceMs = 0;
      this.backoff.reset();
      return result;
    } catch (cause) {
      this.failures++;
      this.trouble = (cause as Error).message || String(cause);
      if (!isOpen || UNAVAILABLE.has((cause as { code?: string }).code ?? '')) throw new Away(this.trouble);
      throw cause;
    }
  }

  /** Half by half until the message that cannot be stored is alone; it becomes a rejection. */
  private async divide(batch: readonly Parcel<T>[], cause: Error): Promise<readonly Stored<T>[]> {
    if (batch.length > 1) {
      const half = batch.length >> 1;
      return [...(await this.commit(batch.slice(0, half))), ...(await this.commit(batch.slice(half)))];
    }
    const instead = batch.map(({ item, taken }) => ({ item, taken: unstorable(item, taken, cause) }));
    try {
      return withPlaces(instead, await this.admit(instead));
    } catch {
      // Not even the rejection goes in: then it is the ledger, not the message.
      await this.pause();
      return this.isClosing() ? [] : this.commit(batch);
    }
  }

  private readingsOf(batch: readonly Parcel<T>[]): AdmittedReading[] {
    const admitted: AdmittedReading[] = [];
    for (const { item, taken } of batch) {
      const { receivedAtUs } = item;
      const source = sourceOf(item.topic);
      taken.readings.forEach((reading, i) => {
        admitted.push({ reading, body: taken.texts[i]!, source, receivedAtUs, door: this.doorOf(reading) });
      });
    }
    return admitted;
  }

  private pause(): Promise<void> {
    const waitMs = this.isClosing() ? 0 : this.backoff.next(0);
    return new Promise((wake) => setTimeout(wake, waitMs));
  }
}

function unstorable(arrival: Arrival, taken: Taken, cause: Error): Taken {
  const what = `the ledger cannot store it: ${cause.message}`.slice(0, 1000);
  const problem = { at: '', code: 'ledger-refused', what, expected: 'a reading that the ledger can store' };
  return { readings: [], texts: [], rejection: refusal(arrival, [problem], taken.readings[0]?.terminal ?? null) };
}

function withPlaces<T>(batch: readonly Parcel<T>[], admission: Admission): Stored<T>[] {
  let next = 0;
  return batch.map(({ item, taken }) => {
    const from = next;
    next += taken.readings.length;
    return { item, taken, places: admission.readings.slice(from, next) };
  });
}
