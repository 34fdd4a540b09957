/** What was committed goes out: into the flow, and to those who entered something by hand. Each reading once, unless Node-RED stops in between. */
import type { Rejection } from '../../lib/records';
import type { Ledger } from '../ledger/ledger';
import type { DoorCounts, DoorOutput, DoorSettings, EntryOutcome, Item, Outgoing } from './door-contract';
import { Sender } from './sender';
import type { Stored, Storing } from './storing';

export class Dispatch {
  readonly sender: Sender;
  private failuresSeen = 0;
  private isSettling = false;

  constructor(
    settings: Pick<DoorSettings, 'id' | 'settleMs'>,
    private readonly storing: Storing<Item>,
    private readonly output: DoorOutput,
    private readonly counts: DoorCounts,
    private readonly isClosing: () => boolean,
  ) {
    this.sender = new Sender(settings.id, settings.settleMs, (sent) => output.readings(sent));
  }

  /** Sends what an earlier run left unsent. */
  async begin(): Promise<void> {
    await this.storing.whenOpen(async (ledger) => {
      await this.sender.open(ledger);
      await this.sender.catchUp(ledger, this.isClosing);
    });
    this.failuresSeen = this.storing.failures;
  }

  async send(part: readonly Stored<Item>[]): Promise<void> {
    const unsent = await this.unsentIn(part);
    const readings: Outgoing[] = [];
    const rejections: { item: Item; rejection: Rejection }[] = [];
    for (const { item, taken, places } of part) {
      places.forEach(({ seq, isNew }, i) => {
        this.counts[isNew ? 'stored' : 'duplicates']++;
        const isUnsent = unsent ? unsent.delete(seq) : isNew;
        if (isUnsent) readings.push({ reading: taken.readings[i]!, seq, topic: item.topic, item });
      });
      if (taken.rejection) {
        this.counts.rejected++;
        rejections.push({ item, rejection: taken.rejection });
      }
    }
    if (!this.isClosing()) this.emit(readings, rejections);
    for (const stored of part) stored.item.entry?.stored(outcomeOf(stored));
  }

  /** Notes in the ledger how far what was sent has had time to finish. */
  async settle(ledger: Ledger | undefined): Promise<void> {
    if (!ledger || this.isSettling) return;
    this.isSettling = true;
    try {
      await this.sender.settle(ledger);
    } catch {
      // The place stays where it is; more is sent again after a restart.
    } finally {
      this.isSettling = false;
    }
  }

  private emit(
    readings: readonly Outgoing[],
    rejections: readonly { readonly item: Item; readonly rejection: Rejection }[],
  ): void {
    if (readings.length > 0) this.output.readings(readings);
    if (rejections.length > 0) this.output.rejections(rejections);
    const last = readings.at(-1);
    if (last) this.sender.note(last.seq);
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

const outcomeOf = ({ taken, places }: Stored<Item>): EntryOutcome => ({
  readings: taken.readings.map((reading, i) => ({ reading, ...places[i]! })),
  rejection: taken.rejection,
});
