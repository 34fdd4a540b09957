/**
 * Questions on one connection, one after the other. Each is asked of the ledger as it stands when its turn comes, and nothing moves while
 * it is answered, whoever writes; a long one gives way in between and sees then what was stored meanwhile.
 */
import type { DatabaseSync } from 'node:sqlite';
import { setTimeout as sleep, setImmediate as turn } from 'node:timers/promises';

/**
 * SQLite begins its write-ahead log anew only when a commit finds nobody reading: with two threads that ask one thing after the other the
 * log grows for as long as they do. Past this size nothing begins in the first fifth of a second, by the wall clock: on all threads alike.
 */
const LARGEST_LOG_BYTES = 80e6;
const QUIET_MS = 200;

export class Snapshots {
  private last: Promise<void> = Promise.resolve();
  private leave: () => void = () => undefined;

  constructor(
    private readonly database: DatabaseSync,
    private readonly logBytes: () => number,
    private readonly largestLogBytes = LARGEST_LOG_BYTES,
  ) {}

  async within<T>(ask: () => Promise<T>): Promise<T> {
    try {
      await this.begin();
      return await ask();
    } finally {
      this.end();
    }
  }

  /** Only within. */
  async giveWay(): Promise<void> {
    this.end();
    await turn();
    await this.begin();
  }

  /** However it ends, it is the turn of this one. */
  private async begin(): Promise<void> {
    const before = this.last;
    const { promise, resolve } = Promise.withResolvers<void>();
    this.last = promise;
    await before;
    this.leave = resolve;
    const sinceMs = Date.now() % 1000;
    if (sinceMs < QUIET_MS && this.logBytes() > this.largestLogBytes) await sleep(QUIET_MS - sinceMs);
    this.database.exec('begin');
  }

  private end(): void {
    try {
      this.database.exec('commit');
    } catch {
      // There is none to end: it could not begin.
    }
    this.leave();
  }
}
