/** The thread of a ledger, from outside: numbers the calls, sends those of one turn together, and settles what is answered. */
import { join } from 'node:path';
import { Worker } from 'node:worker_threads';
import type { PhaseloomRecord } from '../../../lib/records';
import { asError, Trouble } from '../../kit/trouble';
import type { Answer, Answers, Call, Calls, ThreadOrders } from './thread-talk';

interface Waiting {
  readonly resolve: (value: unknown) => void;
  readonly reject: (cause: Error) => void;
  /** what the call may store, for those who listen to commits */
  readonly records: readonly PhaseloomRecord[];
  readonly size: number;
}

/** Records on their way past which no more are taken: the thread does not even refuse them, as it does from fewer on. */
const MOST_UNANSWERED = 50_000;

export class LedgerThread {
  /** its clock, as it told it last */
  clockUs = 0;
  private readonly worker: Worker;
  private readonly waiting = new Map<number, Waiting>();
  private next = 0;
  private calls: Call[] = [];
  private unanswered = 0;
  private isEnding = false;

  constructor(
    orders: ThreadOrders,
    private readonly label: string,
    private readonly committed: (records: readonly PhaseloomRecord[]) => void,
  ) {
    this.worker = new Worker(join(__dirname, 'thread-work.js'), { workerData: orders });
    this.worker.unref();
    this.worker.on('message', (answers: Answers) => this.take(answers));
    this.worker.on('exit', (code) => {
      if (!this.isEnding) throw new Error(`the thread of ledger ${label} ended by itself (exit code ${code})`);
    });
  }

  /** `records`: what it may store; `size`: how many. What is larger than all that may wait goes alone. */
  call(call: Call, records: readonly PhaseloomRecord[] = [], size = 0): Promise<unknown> {
    const isTooMuch = this.unanswered > 0 && this.unanswered + size > MOST_UNANSWERED;
    if (size > 0 && isTooMuch) return Promise.reject(this.overflow());
    if (this.waiting.size === 0) this.worker.ref();
    if (this.calls.length === 0) setImmediate(() => this.send());
    this.calls.push(call);
    this.unanswered += size;
    return new Promise((resolve, reject) => this.waiting.set(this.next++, { resolve, reject, records, size }));
  }

  /** What is not answered by now never will be. */
  async end(): Promise<void> {
    this.isEnding = true;
    for (const { reject } of this.waiting.values())
      reject(new Trouble('ledger-closed', `ledger ${this.label} was closed`));
    this.waiting.clear();
    await this.worker.terminate();
  }

  private send(): void {
    const { calls } = this;
    this.calls = [];
    const first = this.next - calls.length;
    try {
      this.worker.postMessage({ first, calls } satisfies Calls);
    } catch {
      // Nothing was sent: something in them cannot be copied. Whose it is fails alone.
      for (const [i, call] of calls.entries()) this.sendAlone(first + i, call);
    }
  }

  private sendAlone(number: number, call: Call): void {
    try {
      this.worker.postMessage({ first: number, calls: [call] } satisfies Calls);
    } catch (cause) {
      const message = `ledger ${this.label} cannot take what is no plain data: ${asError(cause).message}`;
      this.settle({ number, failure: { code: 'ledger-not-data', message } });
    }
  }

  private take({ clockUs, stored, answers }: Answers): void {
    this.clockUs = clockUs;
    if (stored.length > 0) this.committed(this.recordsOf(stored));
    for (const answer of answers) this.settle(answer);
  }

  private recordsOf(ids: readonly string[]): PhaseloomRecord[] {
    const wanted = new Set(ids);
    const found: PhaseloomRecord[] = [];
    for (const { records } of this.waiting.values()) {
      for (const record of records) if (wanted.delete(record.id)) found.push(record);
    }
    return found;
  }

  private settle(answer: Answer): void {
    const waiting = this.waiting.get(answer.number);
    // What was on its way when the thread was ended comes all the same.
    if (!waiting) return;
    const { resolve, reject, size } = waiting;
    this.waiting.delete(answer.number);
    this.unanswered -= size;
    if (this.waiting.size === 0) this.worker.unref();
    if ('value' in answer) resolve(answer.value);
    else reject(asTrouble(answer.failure));
  }

  private overflow(): Trouble {
    const what = `${this.unanswered} records wait to be stored and no more are taken`;
    return new Trouble('ledger-overflow', `${what}; ledger ${this.label} does not answer`);
  }
}

function asTrouble({ code, message }: { readonly code: string | undefined; readonly message: string }): Error {
  return code === undefined ? new Error(message) : new Trouble(code, message);
}
