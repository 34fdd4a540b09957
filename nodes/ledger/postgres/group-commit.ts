/**
 * Writes of many callers in one transaction: what comes while one is under way goes together into the next. A write that cannot be
 * stored fails alone; when the server is in trouble all wait, in order, and are tried again.
 */
import type { Pool } from 'pg';
import { asError, Trouble } from '../../kit/trouble';
import { StoreTrouble } from '../sqlite/store-trouble';
import type { Client } from './connection';
import type { StoredRow } from './stored-row';
import { CommitInDoubt, cameToPass, inTransaction } from './transaction';
import { type Outcome, type Store, storeEach, storeTogether, type Write } from './write';

const LARGEST_GROUP = 1000;
const FIRST_RETRY_MS = 20;
const LAST_RETRY_MS = 5000;

export interface GroupCommitOptions {
  readonly maxPending: number;
  readonly closeWithinMs: number;
  /** makes StoreTrouble of what is the server's fault */
  readonly explain: (cause: unknown) => unknown;
  /** the last write of every transaction, told of all that is new in it */
  readonly beforeCommit: (client: Client, stored: readonly StoredRow[]) => Promise<void>;
  readonly afterCommit: (stored: readonly StoredRow[]) => void;
}

interface Waiting extends Write {
  readonly size: number;
  readonly resolve: (value: unknown) => void;
  readonly reject: (cause: Error) => void;
}

export class GroupCommit {
  /** records that wait */
  pending = 0;
  /** what keeps the server from committing now */
  trouble: StoreTrouble | undefined;
  private queue: Waiting[] = [];
  /** the writes at the head of the queue whose commit was asked for and not answered */
  private doubt: { readonly group: readonly Waiting[]; readonly commit: CommitInDoubt } | undefined;
  private working: Promise<void> | undefined;
  private retries = 0;
  private giveUpAt = Number.POSITIVE_INFINITY;
  private closed = false;
  private wake = () => {};

  constructor(
    private readonly pool: Pool,
    private readonly options: GroupCommitOptions,
  ) {}

  add<I, T>(size: number, item: I, store: Store<I, T>): Promise<T> {
    if (this.closed)
      return Promise.reject(new Trouble('ledger-closed', 'the ledger is closed: nothing more is stored'));
    if (this.pending > 0 && this.pending + size > this.options.maxPending) return Promise.reject(this.overflow());
    return new Promise<T>((resolve, reject) => {
      this.queue.push({ size, item, store, resolve: resolve as (value: unknown) => void, reject });
      this.pending += size;
      this.working ??= this.work();
    });
  }

  /** Commits what waits; what cannot be committed in time is rejected, never left in the dark. */
  async close(): Promise<void> {
    this.closed = true;
    this.giveUpAt = performance.now() + this.options.closeWithinMs;
    this.wake();
    await this.working;
  }

  private async work(): Promise<void> {
    // What comes in the same turn of the event loop goes together.
    await new Promise((resolve) => setImmediate(resolve));
    while (this.queue.length > 0) {
      const group = this.doubt?.group ?? this.nextGroup();
      try {
        const outcomes = await this.commit(group);
        this.queue.splice(0, group.length);
        this.doubt = undefined;
        this.trouble = undefined;
        this.retries = 0;
        this.settle(group, outcomes);
      } catch (cause) {
        if (cause instanceof CommitInDoubt) this.doubt = { group, commit: cause };
        this.trouble = cause instanceof CommitInDoubt ? cause.trouble : (cause as StoreTrouble);
        if (performance.now() > this.giveUpAt) this.giveUp(this.trouble);
        else await this.rest();
      }
    }
    this.working = undefined;
  }

  private nextGroup(): Waiting[] {
    let size = 0;
    let n = 0;
    while (n < this.queue.length && (n === 0 || size + this.queue[n]!.size <= LARGEST_GROUP)) {
      size += this.queue[n++]!.size;
    }
    return this.queue.slice(0, n);
  }

  /** Throws StoreTrouble, and then nothing of the group is stored, or CommitInDoubt. */
  private async commit(group: readonly Waiting[]): Promise<readonly Outcome[]> {
    if (this.doubt) {
      if (await cameToPass(this.pool, this.options.explain, this.doubt.commit)) return this.doubt.commit.outcomes;
      this.doubt = undefined;
    }
    try {
      return await this.transaction((client) => storeTogether(client, group));
    } catch (cause) {
      if (cause instanceof StoreTrouble || cause instanceof CommitInDoubt) throw cause;
    }
    try {
      return await this.transaction((client) => storeEach(client, group, this.options.explain));
    } catch (cause) {
      const isKnown = cause instanceof StoreTrouble || cause instanceof CommitInDoubt;
      throw isKnown ? cause : new StoreTrouble('ledger-trouble', asError(cause).message);
    }
  }

  private transaction(body: (client: Client) => Promise<Outcome[]>): Promise<readonly Outcome[]> {
    return inTransaction(this.pool, this.options.explain, async (client) => {
      const outcomes = await body(client);
      await this.options.beforeCommit(
        client,
        outcomes.flatMap((o) => ('failure' in o ? [] : o.stored)),
      );
      return outcomes;
    });
  }

  private settle(group: readonly Waiting[], outcomes: readonly Outcome[]): void {
    const stored: StoredRow[] = [];
    for (const [i, outcome] of outcomes.entries()) {
      const { size, resolve, reject } = group[i]!;
      this.pending -= size;
      if ('failure' in outcome) reject(outcome.failure);
      else {
        for (const row of outcome.stored) stored.push(row);
        resolve(outcome.value);
      }
    }
    if (stored.length > 0) this.options.afterCommit(stored);
  }

  private rest(): Promise<void> {
    const ms = this.closed ? FIRST_RETRY_MS : Math.min(LAST_RETRY_MS, FIRST_RETRY_MS * 2 ** this.retries++);
    return new Promise((resolve) => {
      const timer = setTimeout(resolve, ms);
      this.wake = () => {
        clearTimeout(timer);
        resolve();
      };
    });
  }

  private giveUp(trouble: StoreTrouble): void {
    const why = new Trouble('ledger-closed', `the ledger closed before this could be stored: ${trouble.message}`);
    const unknown = new Trouble(
      'ledger-closed',
      `the ledger closed before it was known whether this was stored: ${trouble.message}`,
    );
    const inDoubt = this.doubt?.group.length ?? 0;
    for (const [i, { reject }] of this.queue.splice(0).entries()) reject(i < inDoubt ? unknown : why);
    this.doubt = undefined;
    this.pending = 0;
  }

  private overflow(): Trouble {
    const why = this.trouble ? `: ${this.trouble.message}` : '; records come faster than they can be stored';
    return new Trouble('ledger-overflow', `${this.pending} records wait to be stored and no more are taken${why}`);
  }
}
