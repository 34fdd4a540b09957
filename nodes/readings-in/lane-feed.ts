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
import type { LanePlace } from './lane-place';
import { LanePlaces } from './lane-places';
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
  private readonly places: LanePlaces;
  private readonly holder: Holder;
  private readonly order: TakenOrder;
  private readonly timers: NodeJS.Timeout[] = [];
  private timer: NodeJS.Timeout | undefined;
  private stopHearing: () => void = () => undefined;
  private feeding: Promise<void> | undefined;
  private settling: Promise<void> | undefined;
  private again = false;
  private closed = false;

  constructor(
    private readonly sharing: Sharing,
    lanes: LaneNames,
    private readonly options: LaneFeedOptions,
  ) {
    this.places = new LanePlaces(sharing, lanes.all);
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
    this.places.begin(await this.sharing.head());
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
      for (const lane of await this.places.open()) this.order.drop(lane);
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
    return this.places.of((lane) => held.has(lane) && !leaving.has(lane));
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
    this.places.gain(names);
    this.poke();
  }

  private lose(names: readonly string[]): void {
    for (const lane of this.places.lose(names)) this.order.drop(lane);
  }

  private settleOn(): void {
    this.settling ??= this.settle().finally(() => {
      this.settling = undefined;
    });
  }

  private settle(): Promise<void> {
    return this.places.settle(this.holder.held, this.options.settleMs + oldestUnderWayMs());
  }
}
