/**
 * Items wait in line and leave in batches, each read, stored and finished. While one is being stored the next is read, and it goes to
 * the store before the first is finished: the store never waits for us. All three keep the order. A batch leaves when it is full, or when
 * its first item has waited long enough: twice as long as the last batch took to store, so that a slow disk is not kept busy with small
 * commits, and never longer than the linger.
 */

export interface BatchLimits {
  readonly batchSize: number;
  readonly lingerMs: number;
}

/** A batch of large messages is cut short: taking it in must not hold up everything else. */
const BATCH_BYTES = 1 << 20;

/** What is done with a batch; none of it rejects. */
export interface BatchWork<T, Read, Kept> {
  /** One for each item, in order: for the first of them at least. Those not read yet go back to the head of the line. */
  read(batch: readonly T[]): Promise<Read>;
  store(read: Read): Promise<Kept>;
  finish(batch: readonly T[], kept: Kept): Promise<void>;
}

/** Batches under way at once: one that is being read or is ready, one in the store, one that is being finished. */
const MOST_UNDER_WAY = 3;

export class Batcher<
  T extends { readonly bytes: { readonly length: number } },
  Read extends { readonly length: number },
  Kept,
> {
  /** bytes waiting or under way */
  pendingBytes = 0;
  private readonly waiting: T[] = [];
  private waitingBytes = 0;
  private timer: NodeJS.Timeout | undefined;
  private isStarted = false;
  private underWay = 0;
  private batches = 0;
  private isReading = false;
  private isHurried = false;
  private lastMs = 0;
  private stored: Promise<unknown> = Promise.resolve();
  private finished: Promise<void> = Promise.resolve();
  private readonly idle: (() => void)[] = [];

  constructor(
    private readonly limits: BatchLimits,
    private readonly work: BatchWork<T, Read, Kept>,
    private readonly afterwards: () => void,
  ) {}

  /** Items waiting or under way. */
  get pending(): number {
    return this.waiting.length + this.underWay;
  }

  add(item: T): void {
    this.waiting.push(item);
    this.waitingBytes += item.bytes.length;
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

  /** Takes out what waits and has not been begun; nothing more is begun. */
  abandon(): readonly T[] {
    clearTimeout(this.timer);
    this.isStarted = false;
    this.waitingBytes = 0;
    return this.waiting.splice(0);
  }

  private consider(): void {
    if (!this.isStarted || this.isReading || this.batches === MOST_UNDER_WAY || this.waiting.length === 0) return;
    const isFull = this.waiting.length >= this.limits.batchSize || this.waitingBytes >= BATCH_BYTES;
    if (isFull || this.isHurried) this.depart();
    else this.timer ??= setTimeout(() => this.depart(), Math.min(this.limits.lingerMs, Math.ceil(this.lastMs * 2)));
  }

  /** On the next turn of the event loop, so that a burst of packets is read to its end first. */
  private depart(): void {
    clearTimeout(this.timer);
    this.timer = undefined;
    const batch = this.waiting.splice(0, this.fitting());
    this.waitingBytes -= bytesOf(batch);
    this.underWay += batch.length;
    this.batches++;
    this.isReading = true;
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

  private async carry(taken: readonly T[]): Promise<void> {
    const read = await this.work.read(taken);
    const batch = taken.slice(0, read.length);
    this.putBack(taken.slice(read.length));
    await this.stored;
    this.isReading = false;
    const storing = this.store(read);
    this.stored = storing;
    this.consider();
    const kept = await storing;
    // The next batch, which waits for the same promise, goes to the store first.
    await undefined;
    this.finished = this.finish(batch, kept, this.finished);
  }

  private putBack(items: readonly T[]): void {
    this.waiting.unshift(...items);
    this.waitingBytes += bytesOf(items);
    this.underWay -= items.length;
  }

  private async store(read: Read): Promise<Kept> {
    const beganMs = performance.now();
    const kept = await this.work.store(read);
    this.lastMs = performance.now() - beganMs;
    return kept;
  }

  private async finish(batch: readonly T[], kept: Kept, before: Promise<void>): Promise<void> {
    await before;
    await this.work.finish(batch, kept);
    this.batches--;
    this.underWay -= batch.length;
    this.pendingBytes -= bytesOf(batch);
    this.afterwards();
    this.consider();
    if (this.pending === 0) for (const tell of this.idle.splice(0)) tell();
  }
}

function bytesOf(items: readonly { readonly bytes: { readonly length: number } }[]): number {
  let sum = 0;
  for (const { bytes } of items) sum += bytes.length;
  return sum;
}
