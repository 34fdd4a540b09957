/** An outage is told in the log twice: when it begins, and when it is over, with its figures. What flickers is one outage. */

export interface OutageWords {
  began(why: string): void;
  /** how long it lasted in seconds, and how much waited at most */
  ended(figures: { readonly s: number; readonly n: number }): void;
}

/** Over is what stays well this long. */
const CALM_MS = 5000;

export class Outage {
  private sinceMs: number | undefined;
  private most = 0;
  private calm: NodeJS.Timeout | undefined;

  constructor(private readonly words: OutageWords) {}

  /** It is away, already for so long, and so much waits. */
  goesOn(why: string, waiting: number, lastsMs = 0): void {
    clearTimeout(this.calm);
    this.calm = undefined;
    this.most = Math.max(this.most, waiting);
    if (this.sinceMs !== undefined) return;
    this.sinceMs = performance.now() - lastsMs;
    this.words.began(why);
  }

  /** It is well. */
  over(): void {
    if (this.sinceMs === undefined || this.calm) return;
    const s = Math.round((performance.now() - this.sinceMs) / 1000);
    this.calm = setTimeout(() => {
      this.words.ended({ s, n: this.most });
      this.sinceMs = undefined;
      this.calm = undefined;
      this.most = 0;
    }, CALM_MS);
    this.calm.unref();
  }

  close(): void {
    clearTimeout(this.calm);
  }
}
