/**
 * Writes of many callers in one transaction. A commit waits for the disk, so the writes that come within a moment share one. How long
 * that moment is follows the disk: commits take about a quarter of the time at most, and no write waits longer than 25 ms for others.
 * A write that cannot be stored fails alone; when the store itself is in trouble all wait, in order, and are tried again.
 */
import type { PhaseloomRecord } from '../../../lib/records';
import { Trouble } from '../../kit/trouble';
import type { StoreTrouble } from './store-trouble';
import type { Outcome, Run, Transactions } from './transactions';

const REST_PER_COMMIT = 3;
const LONGEST_WAIT_MS = 25;
const LARGEST_GROUP = 1000;
const FIRST_RETRY_MS = 20;
const LAST_RETRY_MS = 5000;

export interface Write<T> {
  /** how many records it holds */
  readonly size: number;
  /** commit at the next turn of the event loop: it is a group already */
  readonly urgent: boolean;
  readonly run: Run<T>;
}

export interface GroupCommitOptions {
  readonly maxPending: number;
  readonly closeWithinMs: number;
  readonly afterCommit: (stored: readonly PhaseloomRecord[]) => void;
}

interface Waiting {
  readonly write: Write<unknown>;
  readonly resolve: (value: unknown) => void;
  readonly reject: (cause: Error) => void;
}

export class GroupCommit {
  /** records that wait */
  pending = 0;
  /** what keeps the store from committing now */
  trouble: StoreTrouble | undefined;
  private queue: Waiting[] = [];
  private timer: NodeJS.Timeout | undefined;
  private immediate: NodeJS.Immediate | undefined;
  private retries = 0;
  /** the last few: the quickest tells what the disk needs, the others may have waited for a busy machine */
  private commitsMs: number[] = [];
  private lastCommitAt = Number.NEGATIVE_INFINITY;
  private closed = false;

  constructor(
    private readonly transactions: Transactions,
    private readonly options: GroupCommitOptions,
  ) {}

  add<T>(write: Write<T>): Promise<T> {
    if (this.closed)
      return Promise.reject(new Trouble('ledger-closed', 'the ledger is closed: nothing more is stored'));
    if (this.pending > 0 && this.pending + write.size > this.options.maxPending) return Promise.reject(this.overflow());
    return new Promise<T>((resolve, reject) => {
      this.queue.push({ write, resolve: resolve as (value: unknown) => void, reject });
      this.pending += write.size;
      this.schedule(write.urgent);
    });
  }

  /** Commits what waits; what cannot be committed in time is rejected, never left in the dark. */
  async close(): Promise<void> {
    this.closed = true;
    const deadline = performance.now() + this.options.closeWithinMs;
    this.flush();
    while (this.queue.length > 0) {
      if (this.trouble && performance.now() > deadline) this.giveUp(this.trouble);
      else {
        if (this.trouble) await new Promise((resolve) => setTimeout(resolve, FIRST_RETRY_MS));
        this.flush();
      }
    }
    this.unschedule();
  }

  private schedule(urgent: boolean): void {
    if (this.immediate || (this.trouble && this.timer)) return;
    const momentMs = Math.min(LONGEST_WAIT_MS, Math.min(...this.commitsMs) * REST_PER_COMMIT);
    const restMs = momentMs - (performance.now() - this.lastCommitAt);
    if (urgent || restMs <= 0) {
      this.unschedule();
      this.immediate = setImmediate(() => this.flush());
    } else this.timer ??= setTimeout(() => this.flush(), restMs);
  }

  private unschedule(): void {
    clearTimeout(this.timer);
    clearImmediate(this.immediate);
    this.timer = undefined;
    this.immediate = undefined;
  }

  private flush(): void {
    this.unschedule();
    // What does not fit on a full disk as a large group may fit as a smaller one.
    const group = this.take(LARGEST_GROUP / 2 ** this.retries);
    if (group.length === 0) return;
    try {
      const outcomes = this.transactions.commit(group.map(({ write }) => write.run));
      this.lastCommitAt = performance.now();
      this.commitsMs = [...this.commitsMs.slice(-7), this.transactions.commitMs];
      this.trouble = undefined;
      this.retries = 0;
      this.settle(group, outcomes);
    } catch (cause) {
      this.putBack(group, cause as StoreTrouble);
    }
    if (!this.timer && this.queue.length > 0) this.schedule(true);
  }

  private settle(group: readonly Waiting[], outcomes: readonly Outcome[]): void {
    const stored: PhaseloomRecord[] = [];
    for (const [i, outcome] of outcomes.entries()) {
      if ('failure' in outcome) group[i]!.reject(outcome.failure);
      else {
        for (const record of outcome.stored) stored.push(record);
        group[i]!.resolve(outcome.value);
      }
    }
    if (stored.length > 0) this.options.afterCommit(stored);
  }

  private take(records: number): Waiting[] {
    let size = 0;
    let n = 0;
    while (n < this.queue.length && (n === 0 || size + this.queue[n]!.write.size <= records)) {
      size += this.queue[n++]!.write.size;
    }
    this.pending -= size;
    return this.queue.splice(0, n);
  }

  private putBack(group: readonly Waiting[], trouble: StoreTrouble): void {
    this.queue.unshift(...group);
    for (const { write } of group) this.pending += write.size;
    this.trouble = trouble;
    this.timer = setTimeout(() => this.flush(), Math.min(LAST_RETRY_MS, FIRST_RETRY_MS * 2 ** this.retries++));
  }

  private giveUp(trouble: StoreTrouble): void {
    const why = new Trouble('ledger-closed', `the ledger closed before this could be stored: ${trouble.message}`);
    for (const { reject } of this.take(Number.POSITIVE_INFINITY)) reject(why);
  }

  private overflow(): Trouble {
    const why = this.trouble ? `: ${this.trouble.message}` : '; records come faster than they can be stored';
    return new Trouble('ledger-overflow', `${this.pending} records wait to be stored and no more are taken${why}`);
  }
}
