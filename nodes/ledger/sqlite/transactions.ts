/** A group of writes in one transaction: all of them, or, where one cannot be stored, all others. */
import type { DatabaseSync } from 'node:sqlite';
import type { PhaseloomRecord } from '../../../lib/records';
import { asError } from '../../kit/trouble';
import { StoreTrouble } from './store-trouble';

/** Stores, and notes the records that are new; may be run again after a rollback. */
export type Run<T> = (stored: PhaseloomRecord[]) => T;
export type Outcome =
  | { readonly value: unknown; readonly stored: readonly PhaseloomRecord[] }
  | { readonly failure: Error };

export class Transactions {
  /** how long the last commit waited for the disk */
  commitMs = 0;

  constructor(
    private readonly database: DatabaseSync,
    /** makes StoreTrouble of what is the store's fault */
    private readonly explain: (cause: unknown) => unknown,
    /** throws when the file must not be written to now */
    private readonly beforeCommit: () => void,
    /** the last write of every transaction */
    private readonly seal: () => void,
  ) {}

  /** Throws StoreTrouble, and then nothing of the group is stored. */
  commit(group: readonly Run<unknown>[]): Outcome[] {
    try {
      return this.transaction(() => group.map(perform));
    } catch (cause) {
      if (cause instanceof StoreTrouble) throw cause;
    }
    try {
      return this.transaction(() => group.map((run) => this.performAlone(run)));
    } catch (cause) {
      throw cause instanceof StoreTrouble ? cause : new StoreTrouble('ledger-trouble', asError(cause).message);
    }
  }

  private transaction<T>(body: () => T): T {
    try {
      this.beforeCommit();
      this.database.exec('begin immediate');
      const result = body();
      this.seal();
      const began = performance.now();
      this.database.exec('commit');
      this.commitMs = performance.now() - began;
      return result;
    } catch (cause) {
      this.rollback();
      throw this.explain(cause);
    }
  }

  /** SQLite rolls back by itself after some errors, and then there is no transaction left to roll back. */
  private rollback(): void {
    try {
      this.database.exec('rollback');
    } catch {}
  }

  private performAlone(run: Run<unknown>): Outcome {
    this.database.exec('savepoint one');
    try {
      const outcome = perform(run);
      this.database.exec('release one');
      return outcome;
    } catch (cause) {
      const explained = this.explain(cause);
      if (explained instanceof StoreTrouble) throw explained;
      this.database.exec('rollback to one; release one');
      return { failure: asError(explained) };
    }
  }
}

function perform(run: Run<unknown>): Outcome {
  const stored: PhaseloomRecord[] = [];
  return { value: run(stored), stored };
}
