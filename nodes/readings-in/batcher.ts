/**
 * Items wait in line and leave in batches, one batch at a time. A batch leaves when it is full, or when its first item has waited
 * long enough: twice as long as the last batch took, so that a slow disk is not kept busy with small commits, and never longer than
 * the linger.
 */

export interface BatchLimits {
  readonly batchSize: number;
  readonly lingerMs: number;
}

/** A batch of large messages is cut short: taking it in must not hold up everything else. */
const BATCH_BYTES = 1 << 20;

export class Batcher<T extends { readonly bytes: { readonly length: number } }> {
  /** bytes waiting or under way */
  pendingBytes = 0;
  private readonly waiting: T[] = [];
  private timer: NodeJS.Timeout | undefined;
  private isStarted = false;
  private underWay = 0;
  private isHurried = false;
  private lastMs = 0;
  private readonly idle: (() => void)[] = [];

  constructor(
    private readonly limits: BatchLimits,
    /** never rejects */
    private readonly work: (batch: readonly T[]) => Promise<void>,
    private readonly afterwards: () => void,
  ) {}

  /** Items waiting or under way. */
  get pending(): number {
    return this.waiting.length + this.underWay;
  }

  add(item: T): void {
    this.waiting.push(item);
    this.pendingBytes += item.bytes.length;
    this.consider();
  }

  start(): void {
    this.isStarted = true;
    this.consider();
  }

  /** Sends everything off without lingering; resolves when nothing is pending, or nothing was ever begun. */
  async drained(): Promise<void> {
    this.isHurried = true;
    this.consider();
    if (this.isStarted && this.pending > 0) await new Promise<void>((resolve) => this.idle.push(resolve));
  }

  /** Takes out what waits and has not been begun. */
  abandon(): readonly T[] {
    clearTimeout(this.timer);
    return this.waiting.splice(0);
  }

  private consider(): void {
    if (!this.isStarted || this.underWay > 0 || this.waiting.length === 0) return;
    const isFull = this.waiting.length >= this.limits.batchSize || this.pendingBytes >= BATCH_BYTES;
    if (isFull || this.isHurried) this.depart();
    else this.timer ??= setTimeout(() => this.depart(), Math.min(this.limits.lingerMs, Math.ceil(this.lastMs * 2)));
  }

  /** On the next turn of the event loop, so that a burst of packets is read to its end first. */
  private depart(): void {
    clearTimeout(this.timer);
    this.timer = undefined;
    const batch = this.waiting.splice(0, this.fitting());
    this.underWay = batch.length;
    setImmediate(() => void this.carry(batch));
  }

  /** How many of those waiting make up the next batch. */
  private fitting(): number {
    let bytes = 0;
    const past = this.waiting.findIndex((item, i) => {
      bytes += item.bytes.length;
      return i === this.limits.batchSize || (i > 0 && bytes > BATCH_BYTES);
    });
    return past < 0 ? this.waiting.length : past;
  }

  private async carry(batch: readonly T[]): Promise<void> {
    const beganMs = performance.now();
    await this.work(batch);
    this.lastMs = performance.now() - beganMs;
    this.underWay = 0;
    for (const { bytes } of batch) this.pendingBytes -= bytes.length;
    this.afterwards();
    this.consider();
    if (this.pending === 0) for (const tell of this.idle.splice(0)) tell();
  }
}
