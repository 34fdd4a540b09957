/** Letting go of old readings, a batch at a time with rests between, so that others come to write. Both drivers use it. */
import { type LetGone, type LetGoOrder, letGoHeld, letGoOld } from './let-go';
import type { RetentionWords, Steps } from './question';

export interface RetentionOptions {
  readonly words: RetentionWords;
  readonly nowUs: () => number;
  /** the age asked for; Infinity: none is ever let go */
  readonly days: () => number;
  /** runs the steps in one transaction */
  readonly transaction: <T>(steps: () => Steps<T>) => Promise<T>;
  /** called when all that could go is gone; before is the age limit */
  readonly afterwards?: (beforeUs: number) => Promise<void>;
}

export interface LetGoTotals {
  readonly letGo: number;
  /** readings as old that stay because something rests on them */
  readonly held: number;
}

export const LEAST_DAYS = 7;
const DAY_US = 86_400e6;
const BATCH = 500;
const REST_MS = 50;
const FIRST_MS = 60_000;
const EVERY_MS = 3_600_000;

export class Retention {
  private timer: NodeJS.Timeout | undefined;
  private working: Promise<unknown> | undefined;
  private closed = false;

  constructor(private readonly options: RetentionOptions) {}

  /** Now and then from now on. What fails is tried again the next time and told once as a warning of the process. */
  start(): void {
    const round = () => {
      const days = this.options.days();
      if (!Number.isFinite(days)) return;
      this.working ??= this.letGo(days)
        .catch((cause: Error) => {
          if (!this.closed) process.emitWarning(`retention of the ledger: ${cause.message}`, 'PhaseloomWarning');
        })
        .finally(() => {
          this.working = undefined;
        });
    };
    this.timer = setTimeout(() => {
      round();
      this.timer = setInterval(round, EVERY_MS).unref();
    }, FIRST_MS).unref();
  }

  async close(): Promise<void> {
    this.closed = true;
    clearTimeout(this.timer);
    await this.working;
  }

  /** All that is older than so many days. */
  async letGo(days: number): Promise<LetGoTotals> {
    const { words } = this.options;
    const nowUs = this.options.nowUs();
    const order = { beforeUs: nowUs - days * DAY_US, nowUs, by: `retention of ${days} days`, limit: BATCH };
    const old = await this.batches(order, (o) => letGoOld(words, o));
    let after = 0;
    let held = 0;
    const freed = await this.batches(order, function* (o) {
      const gone: LetGone & { last: number } = yield* letGoHeld(words, o, after);
      after = gone.last;
      held += gone.held;
      return gone;
    });
    await this.options.afterwards?.(order.beforeUs);
    return { letGo: old + freed, held };
  }

  /** How many were let go. */
  private async batches(order: LetGoOrder, steps: (order: LetGoOrder) => Steps<LetGone>): Promise<number> {
    let total = 0;
    for (let more = true; more && !this.closed; ) {
      const gone = await this.options.transaction(() => steps(order));
      total += gone.letGo;
      more = gone.more;
      if (more) await new Promise((resolve) => setTimeout(resolve, REST_MS));
    }
    return total;
  }
}
