/**
 * What workers on one ledger stored enters the flow of the worker that holds the lane it is in. The places up to which lanes were sent are
 * in the ledger: who takes a lane over sends again what had not had time to finish, and records with derived ids make once of it.
 */
import { Holder } from '../kit/holder';
import { forgetAll } from '../kit/kin';
import type { LaneReading, Sharing } from '../kit/sharing';
import { oldestUnderWayMs, roomInFlows } from '../kit/under-way';
import type { Outgoing } from './door-contract';
import type { LaneNames } from './lane-names';
import { LanePlace } from './lane-place';
import { TakenOrder } from './taken-order';

const PAGE = 500;
/** When no worker was heard to store anything, the ledger is asked this often. */
const LOOK_MS = 500;
const SETTLE_EVERY_MS = 1000;

export interface LaneFeedOptions {
  readonly door: string;
  readonly instance: string;
  readonly settleMs: number;
  /** how long a reading waits for others that were taken before it and are still to be stored */
  readonly gatherMs: number;
  readonly send: (readings: readonly Outgoing[]) => void;
}

export class LaneFeed {
  resent = 0;
  private readonly places = new Map<string, LanePlace>();
  private readonly holder: Holder;
  private readonly order: TakenOrder;
  private readonly timers: NodeJS.Timeout[] = [];
  private timer: NodeJS.Timeout | undefined;
  private stopHearing: () => void = () => undefined;
  private feeding: Promise<void> | undefined;
  private settling: Promise<void> | undefined;
  /** gained, and the place in the ledger not read yet */
  private readonly unopened = new Set<string>();
  private again = false;
  private closed = false;

  constructor(
    private readonly sharing: Sharing,
    private readonly lanes: LaneNames,
    private readonly options: LaneFeedOptions,
  ) {
    this.order = new TakenOrder(options.gatherMs);
    this.holder = new Holder(sharing, `door:${options.door}`, options.instance, lanes.held, {
      gained: (names) => this.gain(names),
      lost: (names) => this.lose(names),
      mayLeave: (name) => this.places.get(name)?.isSettled ?? true,
    });
  }

  /** Lanes this worker answers for. */
  get held(): number {
    return this.holder.held.size;
  }

  get workers(): number {
    return this.holder.holders;
  }

  async start(): Promise<void> {
    this.places.set(this.lanes.all, new LanePlace(await this.sharing.head()));
    this.stopHearing = this.sharing.onReadings(() => this.poke());
    await this.holder.start();
    this.timers.push(
      setInterval(() => this.poke(), LOOK_MS),
      setInterval(() => this.settleOn(), SETTLE_EVERY_MS),
    );
  }

  /** Something may have been stored. */
  poke(): void {
    this.again = true;
    if (this.closed) return;
    this.feeding ??= this.feed()
      .catch(() => undefined) // the ledger is away; the next look goes on where this one ended
      .finally(() => {
        this.feeding = undefined;
      });
  }

  async close(): Promise<void> {
    this.closed = true;
    clearTimeout(this.timer);
    for (const timer of this.timers) clearInterval(timer);
    this.stopHearing();
    await this.feeding;
    await this.settling;
    await this.settle();
    await this.holder.close();
  }

  private async feed(): Promise<void> {
    while (this.again && !this.closed) {
      this.again = false;
      await roomInFlows(() => this.closed);
      await this.open([...this.unopened]);
      const asked = [...this.mine()].map(([lane, { readUpTo }]) => ({ lane, seq: readUpTo }));
      const page = asked.length === 0 ? [] : await this.sharing.readingsOfLanes(asked, PAGE);
      this.take(page);
      this.sendDue();
      if (page.length === PAGE) this.again = true;
      else for (const { lane } of asked) this.caughtUp(lane);
      if (this.again) await new Promise((turn) => setImmediate(turn));
    }
  }

  /** Lanes held for certain and not about to be given away; what all hear, always. */
  private mine(): ReadonlyMap<string, LanePlace> {
    const { held, leaving } = this.holder;
    return new Map(
      [...this.places].filter(([lane]) => lane === this.lanes.all || (held.has(lane) && !leaving.has(lane))),
    );
  }

  private take(page: readonly LaneReading[]): void {
    const taken = page.filter(({ lane, seq }) => {
      const place = this.places.get(lane);
      // Lost in the meantime, or opened anew at an earlier place.
      if (!place || seq <= place.readUpTo) return false;
      place.read(seq);
      return true;
    });
    this.order.add(taken);
  }

  /** Whoever took a lane over sends what is in it. */
  private sendDue(): void {
    clearTimeout(this.timer);
    if (this.closed) return;
    const mine = this.mine();
    const maySend = (lane: string) => mine.has(lane);
    const due = this.order.due(maySend);
    if (due.length > 0) {
      this.options.send(due.map((it) => this.outgoing(it)));
      for (const { lane, seq } of due) this.places.get(lane)!.noteSent(seq);
    }
    const nextMs = this.order.nextMs(maySend);
    if (nextMs !== undefined) this.timer = setTimeout(() => this.sendDue(), nextMs);
  }

  private outgoing({ lane, seq, reading, source }: LaneReading): Outgoing {
    const isAgain = this.places.get(lane)!.isCatchingUp;
    if (isAgain) this.resent++;
    return { seq, reading, topic: source, ...(isAgain ? { isAgain } : {}) };
  }

  private caughtUp(lane: string): void {
    const place = this.places.get(lane);
    if (place) place.isCatchingUp = false;
  }

  private gain(names: readonly string[]): void {
    forgetAll();
    for (const name of names) this.unopened.add(name);
    this.poke();
  }

  private lose(names: readonly string[]): void {
    for (const name of names) {
      this.unopened.delete(name);
      if (name === this.lanes.all) continue;
      this.places.delete(name);
      this.order.drop(name);
    }
  }

  private async open(names: readonly string[]): Promise<void> {
    if (names.length === 0) return;
    const found = await this.sharing.placesOf(names.map(placeName));
    names.forEach((name, i) => {
      // It may be lost again by now.
      if (!this.unopened.delete(name)) return;
      this.order.drop(name);
      this.places.set(name, new LanePlace(found[i]!));
    });
  }

  private settleOn(): void {
    this.settling ??= this.settle().finally(() => {
      this.settling = undefined;
    });
  }

  /** Notes in the ledger how far the lanes held were sent; what could not be noted now is noted later. */
  private async settle(): Promise<void> {
    const { held } = this.holder;
    const moved = [...this.places].flatMap(([lane, place]) => {
      // Also of what all hear and another answers for: what was sent is forgotten on the way.
      const seq = place.settled(this.options.settleMs + oldestUnderWayMs());
      return seq === undefined || !held.has(lane) ? [] : [{ name: placeName(lane), place, seq }];
    });
    if (moved.length === 0) return;
    const isNoted = await this.sharing.advanceAll(moved).then(
      () => true,
      () => false, // the ledger is away
    );
    if (isNoted) for (const { place, seq } of moved) place.note(seq);
  }
}

const placeName = (lane: string) => `sent:${lane}`;
