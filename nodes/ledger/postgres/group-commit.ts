/**
 * Writes of many callers in one transaction: what comes while one is under way goes together into the next. A write that cannot be
 * stored fails alone; when the server is in trouble all wait, in order, and are tried again. All workers write one after the other,
 * so places in the ledger become visible in their order and nobody who reads on from a place misses one.
 */
import type { Pool } from 'pg';
import type { PhaseloomRecord } from '../../../lib/records';
import { asError, Trouble } from '../../kit/trouble';
import { StoreTrouble } from '../sqlite/store-trouble';
import type { Client } from './connection';

const LARGEST_GROUP = 1000;
const FIRST_RETRY_MS = 20;
const LAST_RETRY_MS = 5000;

/** Stores, and notes the records that are new; may be run again after a rollback. */
export type Run<T> = (client: Client, stored: PhaseloomRecord[]) => Promise<T>;
type Outcome = { readonly value: unknown; readonly stored: readonly PhaseloomRecord[] } | { readonly failure: Error };

export interface GroupCommitOptions {
  readonly maxPending: number;
  readonly closeWithinMs: number;
  /** makes StoreTrouble of what is the server's fault */
  readonly explain: (cause: unknown) => unknown;
  /** the last write of every transaction, told of all that is new in it */
  readonly beforeCommit: (client: Client, stored: readonly PhaseloomRecord[]) => Promise<void>;
  readonly afterCommit: (stored: readonly PhaseloomRecord[]) => void;
}

interface Waiting {
  readonly size: number;
  readonly run: Run<unknown>;
  readonly resolve: (value: unknown) => void;
  readonly reject: (cause: Error) => void;
}

export class GroupCommit {
  /** records that wait */
  pending = 0;
  /** what keeps the server from committing now */
  trouble: StoreTrouble | undefined;
  private queue: Waiting[] = [];
  private working: Promise<void> | undefined;
  private retries = 0;
  private giveUpAt = Number.POSITIVE_INFINITY;
  private closed = false;
  private wake = () => {};

  constructor(
    private readonly pool: Pool,
    private readonly options: GroupCommitOptions,
  ) {}

  add<T>(size: number, run: Run<T>): Promise<T> {
    if (this.closed)
      return Promise.reject(new Trouble('ledger-closed', 'the ledger is closed: nothing more is stored'));
    if (this.pending > 0 && this.pending + size > this.options.maxPending) return Promise.reject(this.overflow());
    return new Promise<T>((resolve, reject) => {
      this.queue.push({ size, run, resolve: resolve as (value: unknown) => void, reject });
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
      const group = this.nextGroup();
      try {
        const outcomes = await this.commit(group.map(({ run }) => run));
        this.queue.splice(0, group.length);
        this.trouble = undefined;
        this.retries = 0;
        this.settle(group, outcomes);
      } catch (cause) {
        this.trouble = cause as StoreTrouble;
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

  /** Throws StoreTrouble, and then nothing of the group is stored. */
  private async commit(group: readonly Run<unknown>[]): Promise<Outcome[]> {
    try {
      return await this.transaction(group, perform);
    } catch (cause) {
      if (cause instanceof StoreTrouble) throw cause;
    }
    try {
      return await this.transaction(group, (client, run) => this.performAlone(client, run));
    } catch (cause) {
      throw cause instanceof StoreTrouble ? cause : new StoreTrouble('ledger-trouble', asError(cause).message);
    }
  }

  private async transaction(
    group: readonly Run<unknown>[],
    one: (client: Client, run: Run<unknown>) => Promise<Outcome>,
  ): Promise<Outcome[]> {
    const client = await this.pool.connect().catch((cause) => {
      throw this.options.explain(cause);
    });
    // A connection that breaks also fails the statement under way, and that is where it is told.
    const ignore = () => {};
    client.on('error', ignore);
    let broken = false;
    try {
      await client.query('begin');
      await client.query("select pg_advisory_xact_lock(hashtext('phaseloom ledger'), hashtext(current_schema()))");
      const outcomes: Outcome[] = [];
      for (const run of group) outcomes.push(await one(client, run));
      await this.options.beforeCommit(
        client,
        outcomes.flatMap((o) => ('failure' in o ? [] : o.stored)),
      );
      await client.query('commit');
      return outcomes;
    } catch (cause) {
      await client.query('rollback').catch(() => (broken = true));
      throw this.options.explain(cause);
    } finally {
      client.off('error', ignore);
      client.release(broken);
    }
  }

  private async performAlone(client: Client, run: Run<unknown>): Promise<Outcome> {
    await client.query('savepoint one');
    try {
      const outcome = await perform(client, run);
      await client.query('release savepoint one');
      return outcome;
    } catch (cause) {
      const explained = this.options.explain(cause);
      if (explained instanceof StoreTrouble) throw explained;
      await client.query('rollback to savepoint one');
      return { failure: asError(explained) };
    }
  }

  private settle(group: readonly Waiting[], outcomes: readonly Outcome[]): void {
    const stored: PhaseloomRecord[] = [];
    for (const [i, outcome] of outcomes.entries()) {
      const { size, resolve, reject } = group[i]!;
      this.pending -= size;
      if ('failure' in outcome) reject(outcome.failure);
      else {
        for (const record of outcome.stored) stored.push(record);
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
    for (const { reject } of this.queue.splice(0)) reject(why);
    this.pending = 0;
  }

  private overflow(): Trouble {
    const why = this.trouble ? `: ${this.trouble.message}` : '; records come faster than they can be stored';
    return new Trouble('ledger-overflow', `${this.pending} records wait to be stored and no more are taken${why}`);
  }
}

async function perform(client: Client, run: Run<unknown>): Promise<Outcome> {
  const stored: PhaseloomRecord[] = [];
  return { value: await run(client, stored), stored };
}
