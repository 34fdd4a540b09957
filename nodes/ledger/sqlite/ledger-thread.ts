/** A thread of a ledger, from outside: numbers the calls, sends those of one turn together, and settles what is answered. */
import { join } from 'node:path';
import { getHeapStatistics } from 'node:v8';
import { Worker } from 'node:worker_threads';
import type { PhaseloomRecord } from '../../../lib/records';
import { asError, Trouble } from '../../kit/trouble';
import type { Answer, Answers, Calls } from './thread-talk';

interface Waiting {
  readonly resolve: (value: unknown) => void;
  readonly reject: (cause: Error) => void;
  /** what the call may store, for those who listen to commits */
  readonly records: readonly PhaseloomRecord[];
  readonly size: number;
}

export interface ThreadDuty {
  /** file of the program, beside this one */
  readonly program: 'thread-work.js' | 'question-work.js';
  /** what it is started with */
  readonly orders: object;
  readonly label: string;
  readonly committed?: (records: readonly PhaseloomRecord[]) => void;
  /** told once and more: with the error that ended it, and that it ended */
  readonly endedByItself: (cause: Error) => void;
}

/** Records on their way past which no more are taken: the thread does not even refuse them, as it does from fewer on. */
const MOST_UNANSWERED = 50_000;

/**
 * What comes to a thread is done with in a moment, and a young generation of 192 MB, as Node.js gives it where there is memory, is filled
 * with what nobody needs before it is looked at. A machine with little memory has less from the beginning.
 */
const YOUNG_GENERATION_MB = Math.min(48, Math.floor(getHeapStatistics().heap_size_limit / 1e6 / 32));

export class LedgerThread<C> {
  /** its clock, as it told it last */
  clockUs = 0;
  private readonly worker: Worker;
  private readonly waiting = new Map<number, Waiting>();
  private next = 0;
  private calls: C[] = [];
  private unanswered = 0;
  private isEnding = false;

  constructor(private readonly duty: ThreadDuty) {
    const { program, orders, label, endedByItself } = duty;
    this.worker = new Worker(join(__dirname, program), {
      workerData: orders,
      resourceLimits: { maxYoungGenerationSizeMb: YOUNG_GENERATION_MB },
    });
    this.worker.unref();
    this.worker.on('message', (answers: Answers) => this.take(answers));
    this.worker.on('error', endedByItself);
    this.worker.on('exit', (code) => {
      if (!this.isEnding) endedByItself(new Error(`the thread of ledger ${label} ended by itself (exit code ${code})`));
    });
  }

  /** calls not answered */
  get underWay(): number {
    return this.waiting.size;
  }

  /** `records`: what it may store; `size`: how many. What is larger than all that may wait goes alone. */
  call(call: C, records: readonly PhaseloomRecord[] = [], size = 0): Promise<unknown> {
    const isTooMuch = this.unanswered > 0 && this.unanswered + size > MOST_UNANSWERED;
    if (size > 0 && isTooMuch) return Promise.reject(this.overflow());
    if (this.waiting.size === 0) this.worker.ref();
    if (this.calls.length === 0) setImmediate(() => this.send());
    this.calls.push(call);
    this.unanswered += size;
    return new Promise((resolve, reject) => this.waiting.set(this.next++, { resolve, reject, records, size }));
  }

  /** What is not answered by now never will be, and is told why. */
  async end(why = new Trouble('ledger-closed', `ledger ${this.duty.label} was closed`)): Promise<void> {
    this.isEnding = true;
    for (const { reject } of this.waiting.values()) reject(why);
    this.waiting.clear();
    await this.worker.terminate();
  }

  private send(): void {
    const { calls } = this;
    this.calls = [];
    const first = this.next - calls.length;
    try {
      this.worker.postMessage({ first, calls } satisfies Calls<C>);
    } catch {
      // Nothing was sent: something in them cannot be copied. Whose it is fails alone.
      for (const [i, call] of calls.entries()) this.sendAlone(first + i, call);
    }
  }

  private sendAlone(number: number, call: C): void {
    try {
      this.worker.postMessage({ first: number, calls: [call] } satisfies Calls<C>);
    } catch (cause) {
      const message = `ledger ${this.duty.label} cannot take what is no plain data: ${asError(cause).message}`;
      this.settle({ number, failure: { code: 'ledger-not-data', message } });
    }
  }

  private take({ clockUs, stored, answers }: Answers): void {
    this.clockUs = clockUs;
    if (stored.length > 0) this.duty.committed?.(this.recordsOf(stored));
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
    return new Trouble('ledger-overflow', `${what}; ledger ${this.duty.label} does not answer`);
  }
}

function asTrouble({ code, message }: { readonly code: string | undefined; readonly message: string }): Error {
  return code === undefined ? new Error(message) : new Trouble(code, message);
}
