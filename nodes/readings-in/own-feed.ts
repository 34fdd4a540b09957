/** On a ledger that no other worker uses, what was stored is sent at once, from memory. Each reading once, unless Node-RED stops in between. */
import { roomInFlows } from '../kit/under-way';
import type { Ledger } from '../ledger/ledger';
import type { DoorOutput, DoorSettings, Item, Outgoing } from './door-contract';
import { Sender } from './sender';
import type { Committed, Stored, Storing } from './storing';

const SETTLE_EVERY_MS = 1000;

export class OwnFeed {
  private readonly sender: Sender;
  private isSettling = false;
  private timer: NodeJS.Timeout | undefined;
  private ledger: Ledger | undefined;

  constructor(
    settings: Pick<DoorSettings, 'id' | 'settleMs'>,
    private readonly storing: Storing<Item>,
    private readonly output: DoorOutput,
    private readonly isClosing: () => boolean,
  ) {
    this.sender = new Sender(settings.id, settings.settleMs, (sent) => output.readings(sent));
  }

  get resent(): number {
    return this.sender.resent;
  }

  async begin(ledger: Ledger): Promise<void> {
    this.ledger = ledger;
    await this.sender.open(ledger);
    await this.sender.catchUp(ledger, this.isClosing);
  }

  begun(): void {
    if (!this.isClosing()) this.timer = setInterval(() => void this.settle(), SETTLE_EVERY_MS);
  }

  async committed({ stored, hadTrouble }: Committed<Item>): Promise<void> {
    const unsent = hadTrouble && !this.isClosing() ? await this.unsentIn(stored) : undefined;
    const readings: Outgoing[] = [];
    for (const { item, taken, places } of stored) {
      places.forEach(({ seq, isNew }, i) => {
        const isUnsent = unsent ? unsent.delete(seq) : isNew;
        if (isUnsent) readings.push({ reading: taken.readings[i]!, seq, topic: item.topic, item });
      });
    }
    await roomInFlows(this.isClosing);
    if (readings.length === 0 || this.isClosing()) return;
    this.output.readings(readings);
    this.sender.note(readings.at(-1)!.seq);
  }

  async close(): Promise<void> {
    clearInterval(this.timer);
    await this.settle();
  }

  /** Notes in the ledger how far what was sent has had time to finish. */
  private async settle(): Promise<void> {
    if (!this.ledger || this.isSettling) return;
    this.isSettling = true;
    try {
      await this.sender.settle(this.ledger);
    } catch {
      // The place stays where it is; more is sent again after a restart.
    } finally {
      this.isSettling = false;
    }
  }

  /**
   * After a write that failed, and may yet have been committed, "already there" no longer means "already sent": the ledger is asked.
   * Places of these that have not been sent; undefined when the node closes before the ledger answers.
   */
  private async unsentIn(stored: readonly Stored<Item>[]): Promise<Set<number> | undefined> {
    const except = new Set(stored.flatMap((one) => one.places.map(({ seq }) => seq)));
    const met = new Set<number>();
    // What comes after them is on its way to us, and must not be sent before them.
    let last = 0;
    for (const seq of except) last = Math.max(last, seq);
    return this.storing.whenOpen(async (ledger) => {
      await this.sender.catchUp(ledger, this.isClosing, { last, except, met });
      return met;
    });
  }
}
