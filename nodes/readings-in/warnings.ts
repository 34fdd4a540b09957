/** A warning is given once, and again only when it still holds after ten minutes: an outage must not flood the log. */

const AGAIN_MS = 600_000;

export class Warnings {
  private readonly givenAtMs = new Map<string, number>();

  constructor(private readonly tell: (text: string) => void) {}

  give(code: string, text: string): void {
    const nowMs = performance.now();
    if (nowMs - (this.givenAtMs.get(code) ?? Number.NEGATIVE_INFINITY) < AGAIN_MS) return;
    this.givenAtMs.set(code, nowMs);
    this.tell(text);
  }
}
