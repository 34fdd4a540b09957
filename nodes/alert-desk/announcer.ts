/**
 * Sends saved transitions into the flow: those of high priority first, those of one alert in their order, no more than so many a minute.
 * They wait in the ledger: what a restart interrupted is sent after it, and of several workers one takes each.
 */
import { allowance } from '../../lib/alert-flood';
import type { Alert } from '../../lib/records';
import type { DueDelivery } from '../ledger/ledger';
import { HeldBack } from './held-back';
import { LANES, type Lane, type Lanes } from './lanes';

/** Taken at a time. */
const AT_ONCE = 64;
/** Time for what was sent to reach the next store before it counts as sent. */
const SETTLE_MS = 100;
/** What other workers left, and what could not be sent before, is looked for this often. */
const LOOK_MS = 2000;
/** What waits longer than this no worker may send. */
const OTHERS_TAKE_US = 1500 * LOOK_MS;
/** What is held is counted no more often than this. */
const COUNT_EVERY_US = 500e3;

export interface AnnouncerOptions {
  readonly perMinute: number;
  readonly nowUs: () => number;
  /** does not jump when the clock is set, microseconds */
  readonly steadyUs: () => number;
  readonly send: (alert: Alert) => void;
  /** other workers send from the same lanes */
  readonly isShared: boolean;
  /** what is held back now; told while it lasts, and once when it is over */
  readonly flood: (held: readonly Alert[], isAll: boolean) => void;
  readonly trouble: (cause: Error) => void;
}

export class Announcer {
  private readonly poked = new Set<Lane>();
  private readonly settling = new Map<number, Promise<void>>();
  private running: Promise<void> | undefined;
  private closing: () => void = () => undefined;
  private readonly closed: Promise<void>;
  private isClosed = false;
  private isFlood = true;
  private timer: NodeJS.Timeout | undefined;
  private sentAtUs: number[] = [];
  private countedAtUs = Number.NEGATIVE_INFINITY;
  private readonly heldBack: HeldBack;

  constructor(
    private readonly lanes: Lanes,
    private readonly options: AnnouncerOptions,
  ) {
    this.heldBack = new HeldBack(options.isShared ? OTHERS_TAKE_US : 0);
    this.closed = new Promise((resolve) => {
      this.closing = resolve;
    });
  }

  /** Something is in this lane, or may be in any. */
  poke(...lanes: readonly Lane[]): void {
    if (this.isClosed) return;
    for (const lane of lanes.length > 0 ? lanes : LANES) this.poked.add(lane);
    this.running ??= this.run().finally(() => {
      this.running = undefined;
      // Something came while the flood was looked at.
      const lane = this.nextLane();
      if (lane) this.poke(lane);
    });
  }

  /** A worker said that there is a flood: all of them look whether it is over. */
  watchFlood(): void {
    this.isFlood = true;
  }

  /** What has not had time to arrive is given back, and will be sent again. */
  async close(): Promise<void> {
    this.isClosed = true;
    clearTimeout(this.timer);
    this.closing();
    await this.running;
    await Promise.allSettled(this.settling.values());
  }

  private async run(): Promise<void> {
    let againMs = LOOK_MS;
    try {
      for (let lane = this.nextLane(); lane && !this.isClosed; lane = this.nextLane()) await this.serve(lane);
      againMs = await this.tellFlood();
    } catch (cause) {
      if (!this.isClosed) this.options.trouble(cause as Error);
    }
    clearTimeout(this.timer);
    if (this.isClosed) return;
    this.timer = setTimeout(() => this.poke(), againMs);
    this.timer.unref();
  }

  /** The first lane in which something may wait and of which something may be sent. */
  private nextLane(): Lane | undefined {
    return LANES.find((lane) => this.poked.has(lane) && this.budget(lane) > 0);
  }

  private budget(lane: Lane): number {
    return lane === 'notice' ? AT_ONCE : Math.min(AT_ONCE, this.allowed().budget);
  }

  private allowed() {
    return allowance(this.sentAtUs, this.options.perMinute, this.options.steadyUs());
  }

  private async serve(lane: Lane): Promise<void> {
    const { steadyUs, perMinute, send } = this.options;
    const limit = this.budget(lane);
    this.poked.delete(lane);
    const due = await this.lanes.claim(lane, limit);
    if (due.length === limit) this.poked.add(lane);
    for (const delivery of due) {
      if (lane !== 'notice') this.sentAtUs.push(steadyUs());
      send(delivery.record as Alert);
      this.settling.set(delivery.seq, this.settle(delivery, lane));
    }
    this.sentAtUs = this.sentAtUs.slice(-perMinute);
  }

  private async settle({ seq }: DueDelivery, lane: Lane): Promise<void> {
    try {
      await Promise.race([new Promise((resolve) => setTimeout(resolve, SETTLE_MS)), this.closed]);
      await (this.isClosed ? this.lanes.giveBack(seq) : this.lanes.sent(seq, this.options.nowUs()));
    } catch (cause) {
      if (!this.isClosed) this.options.trouble(cause as Error);
    } finally {
      this.settling.delete(seq);
      // The next transition of the same alert may go now.
      this.poke(lane);
    }
  }

  /**
   * The lanes are those of all workers, and so is the flood: who may send nothing more says that it is there, and anybody that it is over.
   * Returns when to look again.
   */
  private async tellFlood(): Promise<number> {
    const { againAtUs } = this.allowed();
    const nowUs = this.options.steadyUs();
    const againMs = againAtUs === undefined ? LOOK_MS : Math.min(LOOK_MS, Math.max(1, (againAtUs - nowUs) / 1000));
    if (againAtUs === undefined && !this.isFlood) return againMs;
    if (nowUs - this.countedAtUs < COUNT_EVERY_US) return Math.min(againMs, COUNT_EVERY_US / 1000);
    this.countedAtUs = nowUs;
    const { due, isAll } = await this.lanes.waiting(new Set(this.settling.keys()));
    const held = this.heldBack.of(due, nowUs).map((d) => d.record as Alert);
    const isFull = againAtUs !== undefined;
    const isOver = this.isFlood && held.length === 0 && (!isFull || due.length === 0);
    if (isOver || (isFull && held.length > 0)) {
      this.isFlood = !isOver;
      this.options.flood(held, isAll);
    }
    return againMs;
  }
}
