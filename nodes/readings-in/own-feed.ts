/** On a ledger that no other worker uses, what was stored is sent at once, from memory. Each reading once, unless Node-RED stops in between. */
import type { Ledger } from '../ledger/ledger';
import type { DoorOutput, DoorSettings, Item, Outgoing } from './door-contract';
import { Sender } from './sender';
import type { Stored, Storing } from './storing';

const SETTLE_EVERY_MS = 1000;

export class OwnFeed {
  private readonly sender: Sender;
  private failuresSeen = 0;
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
    this.failuresSeen = this.storing.failures;
    if (!this.isClosing()) this.timer = setInterval(() => void this.settle(), SETTLE_EVERY_MS);
  }

  async committed(part: readonly Stored<Item>[]): Promise<void> {
    const unsent = await this.unsentIn(part);
    const readings: Outgoing[] = [];
    for (const { item, taken, places } of part) {
      places.forEach(({ seq, isNew }, i) => {
        // The batch before may have found it in the ledger, and sent it, while it was on its way back to us.
        const isUnsent = unsent ? unsent.delete(seq) : isNew && !this.sender.hasSent(seq);
        if (isUnsent) readings.push({ reading: taken.readings[i]!, seq, topic: item.topic, item });
      });
    }
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
   * Places of this part that have not been sent, or undefined when all is well.
   */
  private async unsentIn(part: readonly Stored<Item>[]): Promise<Set<number> | undefined> {
    if (this.storing.failures === this.failuresSeen || this.isClosing()) return undefined;
    const places = new Set(part.flatMap((stored) => stored.places.map(({ seq }) => seq)));
    const unsent = await this.storing.whenOpen((ledger) => this.sender.catchUp(ledger, this.isClosing, places));
    this.failuresSeen = this.storing.failures;
    return unsent;
  }
}
