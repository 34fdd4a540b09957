/** How far one lane has been sent, and how far what was sent has had time to finish. */

export class LanePlace {
  /** what is sent now may have been sent before, by another worker or an earlier run */
  isCatchingUp = true;
  private settledUpTo: number;
  private readonly sent: { seq: number; atMs: number }[] = [];

  constructor(public sentUpTo: number) {
    this.settledUpTo = sentUpTo;
  }

  /** Everything up to here has been sent just now. */
  note(seq: number): void {
    if (seq <= this.sentUpTo) return;
    this.sentUpTo = seq;
    this.sent.push({ seq, atMs: performance.now() });
  }

  /** The newest place that was sent long enough ago and not yet told of here. */
  settled(settleMs: number): number | undefined {
    const latestMs = performance.now() - settleMs;
    const unsettled = this.sent.findIndex(({ atMs }) => atMs > latestMs);
    const done = this.sent.splice(0, unsettled < 0 ? this.sent.length : unsettled).at(-1);
    if (!done || done.seq <= this.settledUpTo) return undefined;
    this.settledUpTo = done.seq;
    return done.seq;
  }

  get isSettled(): boolean {
    return this.sent.length === 0;
  }
}
