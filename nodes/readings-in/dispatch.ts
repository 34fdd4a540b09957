/** What was committed goes out: into the flow, and to those who entered something by hand. */
import type { Rejection } from '../../lib/records';
import type { DoorCounts, DoorOutput, DoorSettings, EntryOutcome, Item } from './door-contract';
import { LaneFeed } from './lane-feed';
import { LaneNames } from './lane-names';
import { OwnFeed } from './own-feed';
import type { Committed, Stored, Storing } from './storing';

export class Dispatch {
  /** lanes, where workers share the ledger */
  lanes: LaneFeed | undefined;
  private own: OwnFeed | undefined;

  constructor(
    private readonly settings: Pick<DoorSettings, 'id' | 'instance' | 'settleMs' | 'gatherMs'>,
    private readonly storing: Storing<Item>,
    private readonly output: DoorOutput,
    private readonly counts: DoorCounts,
    private readonly isClosing: () => boolean,
  ) {}

  get resent(): number {
    return this.lanes?.resent ?? this.own?.resent ?? 0;
  }

  /** Sends what an earlier run left unsent. */
  async begin(): Promise<void> {
    const { settings, storing, output, isClosing } = this;
    await storing.whenOpen(async (ledger) => {
      if (ledger.sharing) {
        const names = new LaneNames(settings.id);
        const { id: door, instance, settleMs, gatherMs } = settings;
        const send = (readings: Parameters<DoorOutput['readings']>[0]) => output.readings(readings);
        const lanes = new LaneFeed(ledger.sharing, names, { door, instance, settleMs, gatherMs, send });
        await lanes.start();
        storing.doorOf = (reading) => names.of(reading.terminal);
        this.lanes = lanes;
      } else {
        this.own ??= new OwnFeed(settings, storing, output, isClosing);
        await this.own.begin(ledger);
      }
    });
    this.own?.begun();
  }

  async send(committed: Committed<Item>): Promise<void> {
    const rejections: { item: Item; rejection: Rejection }[] = [];
    for (const { item, taken, places } of committed.stored) {
      for (const { isNew } of places) this.counts[isNew ? 'stored' : 'duplicates']++;
      if (!taken.rejection) continue;
      this.counts.rejected++;
      rejections.push({ item, rejection: taken.rejection });
    }
    if (this.lanes) this.lanes.poke();
    else await this.own?.committed(committed);
    if (rejections.length > 0 && !this.isClosing()) this.output.rejections(rejections);
    for (const stored of committed.stored) stored.item.entry?.stored(outcomeOf(stored));
  }

  async close(): Promise<void> {
    await Promise.all([this.lanes?.close(), this.own?.close()]);
  }
}

const outcomeOf = ({ taken, places }: Stored<Item>): EntryOutcome => ({
  readings: taken.readings.map((reading, i) => ({ reading, ...places[i]! })),
  rejection: taken.rejection,
});
