/** How far one lane has been read, what of it waits to be sent, and how far what was sent has had time to finish. */

export class LanePlace {
  /** what is sent now may have been sent before, by another worker or an earlier run */
  isCatchingUp = true;
  private notedUpTo: number;
  private readonly waiting = new Set<number>();
  private sent: { readonly seq: number; readonly atMs: number }[] = [];

  constructor(public readUpTo: number) {
    this.notedUpTo = readUpTo;
  }

  read(seq: number): void {
    this.readUpTo = Math.max(this.readUpTo, seq);
    this.waiting.add(seq);
  }

  noteSent(seq: number): void {
    this.waiting.delete(seq);
    this.sent.push({ seq, atMs: performance.now() });
  }

  /** Nothing that was sent may still be under way in the flow. */
  get isSettled(): boolean {
    return this.sent.length === 0;
  }

  /** The place up to which everything was sent long enough ago, when the ledger does not have it yet. */
  settled(settleMs: number): number | undefined {
    const latestMs = performance.now() - settleMs;
    this.sent = this.sent.filter(({ atMs }) => atMs > latestMs);
    let place = this.readUpTo;
    for (const seq of this.waiting) place = Math.min(place, seq - 1);
    for (const { seq } of this.sent) place = Math.min(place, seq - 1);
    return place > this.notedUpTo ? place : undefined;
  }

  /** The ledger has it. */
  note(seq: number): void {
    this.notedUpTo = Math.max(this.notedUpTo, seq);
  }
}
