/** Waiting times between attempts: doubling, jittered, and short again only after a stable minute. */

export interface BackoffLimits {
  readonly firstMs: number;
  readonly mostMs: number;
  readonly stableMs: number;
}

export const RECONNECT: BackoffLimits = { firstMs: 250, mostMs: 15_000, stableMs: 60_000 };

/** A connection that is made and lost at once must not be retried at once: only what lasted counts as success. */
export class Backoff {
  private failures = 0;

  constructor(private readonly limits: BackoffLimits = RECONNECT) {}

  /** How long to wait now, after something that lasted this long. */
  next(lastedMs: number): number {
    if (lastedMs >= this.limits.stableMs) this.failures = 0;
    const wholeMs = Math.min(this.limits.mostMs, this.limits.firstMs * 2 ** this.failures);
    this.failures = Math.min(this.failures + 1, 30);
    return wholeMs * (0.5 + Math.random() / 2);
  }

  reset(): void {
    this.failures = 0;
  }
}
