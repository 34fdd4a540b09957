/**
 * What has been sent into the flow, and what has had time to finish. The ledger keeps that place; after a crash or a deployment, what
 * lies past it is sent again. Records made of readings have derived ids, so a second pass changes nothing.
 */
import { oldestUnderWayMs, roomInFlows } from '../kit/under-way';
import type { Ledger, StoredReading } from '../ledger/ledger';
import type { Outgoing } from './door-contract';

const PAGE = 500;

/** What lies between what was sent last and what was just stored. */
export interface Gap {
  /** where it ends */
  readonly last: number;
  /** places that are left for the caller to send */
  readonly except: ReadonlySet<number>;
  /** those of them that were met, also by a pass that failed on its way */
  readonly met: Set<number>;
}

export class Sender {
  resent = 0;
  private sentUpTo = 0;
  private readonly sent: { seq: number; atMs: number }[] = [];
  private readonly place: string;

  constructor(
    private readonly doorId: string,
    private readonly settleMs: number,
    private readonly sendAgain: (readings: readonly Outgoing[]) => void,
  ) {
    this.place = `sent:${doorId}`;
  }

  /** Finds the place where sending left off. */
  async open(ledger: Ledger): Promise<void> {
    this.sentUpTo = Math.max(this.sentUpTo, await ledger.cursor(this.place));
  }

  /** Sends everything this door stored after what it sent last, or of it what lies in the gap, page by page so that the flow can keep up. */
  async catchUp(ledger: Ledger, isClosing: () => boolean, { last, except, met }: Gap = allThereIs()): Promise<void> {
    while (!isClosing()) {
      const found = await ledger.readingsAfter(this.sentUpTo, PAGE, this.doorId);
      const page = found.filter(({ seq }) => seq <= last);
      const missed = page.filter(({ seq }) => !except.has(seq));
      for (const { seq } of page) if (except.has(seq)) met.add(seq);
      if (missed.length > 0) this.sendAgain(missed.map(outgoing));
      this.resent += missed.length;
      if (page.length > 0) this.note(page.at(-1)!.seq);
      if (page.length < PAGE) break;
      await roomInFlows(isClosing);
      await new Promise((turn) => setImmediate(turn));
    }
  }

  /** Everything up to here has been sent just now. */
  note(seq: number): void {
    if (seq <= this.sentUpTo) return;
    this.sentUpTo = seq;
    this.sent.push({ seq, atMs: performance.now() });
  }

  /** Moves the place in the ledger up to what was sent long enough ago: longer than what is still under way. */
  async settle(ledger: Ledger): Promise<void> {
    const latestMs = performance.now() - this.settleMs - oldestUnderWayMs();
    const unsettled = this.sent.findIndex(({ atMs }) => atMs > latestMs);
    const settled = unsettled < 0 ? this.sent.length : unsettled;
    const seq = this.sent[settled - 1]?.seq;
    if (seq === undefined) return;
    await ledger.advance(this.place, seq);
    this.sent.splice(0, settled);
  }
}

const allThereIs = (): Gap => ({ last: Number.POSITIVE_INFINITY, except: new Set(), met: new Set() });
const outgoing = ({ seq, reading, source }: StoredReading): Outgoing => ({
  seq,
  reading,
  topic: source,
  isAgain: true,
});
