/** Something that a node cannot work without and that may not be there yet: tried until it is, and waited for by those who need it now. */
import { asError } from './trouble';

const PAUSES_MS = [100, 300, 1000, 3000, 10_000];
/** Troubles that trying again does not mend. */
const FINAL: ReadonlySet<unknown> = new Set(['config', 'ledger-closed']);
/** One who needs it now waits no longer than this. */
const PATIENCE_MS = 15_000;

export class WhenOpen<T> {
  private value: T | undefined;
  private lastError: Error | undefined;
  private failures = 0;
  private final = false;
  private closed = false;
  private timer: NodeJS.Timeout | undefined;
  private readonly waiting = new Set<() => void>();
  private attempt: Promise<void>;

  /** @param told is told of a trouble once, however often it comes again */
  constructor(
    private readonly open: () => Promise<T>,
    private readonly told: (cause: Error) => void,
  ) {
    this.attempt = this.tryOnce();
  }

  /** @throws the last trouble when it does not open in time, or never will */
  async get(): Promise<T> {
    const deadline = performance.now() + PATIENCE_MS;
    while (this.value === undefined) {
      const leftMs = deadline - performance.now();
      if (this.lastError && (this.final || leftMs <= 0)) throw this.lastError;
      await this.news(leftMs);
    }
    return this.value;
  }

  /** Ends the trying; gives what was opened, if it was. */
  async close(): Promise<T | undefined> {
    this.closed = true;
    this.final = true;
    clearTimeout(this.timer);
    this.lastError ??= new Error('the node was closed');
    this.tell();
    await this.attempt;
    return this.value;
  }

  private async tryOnce(): Promise<void> {
    try {
      this.value = await this.open();
    } catch (cause) {
      const error = asError(cause);
      if (error.message !== this.lastError?.message) this.told(error);
      this.lastError = error;
      this.final ||= FINAL.has((error as { code?: unknown }).code);
      if (!this.final && !this.closed) this.later();
    }
    this.tell();
  }

  private later(): void {
    const pause = PAUSES_MS[Math.min(this.failures++, PAUSES_MS.length - 1)];
    this.timer = setTimeout(() => {
      this.attempt = this.tryOnce();
    }, pause);
    this.timer.unref();
  }

  private tell(): void {
    for (const wake of this.waiting) wake();
    this.waiting.clear();
  }

  private news(withinMs: number): Promise<void> {
    return new Promise((resolve) => {
      const timer = setTimeout(resolve, Math.max(0, withinMs));
      this.waiting.add(() => {
        clearTimeout(timer);
        resolve();
      });
    });
  }
}
