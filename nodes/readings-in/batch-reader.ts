/** From the messages of a batch to what they held. Whatever comes, something is made of it. */
import { asError } from '../kit/trouble';
import type { Taken } from './arrival';
import type { DoorCounts, DoorSettings, Item } from './door-contract';
import { type IntakeRules, refused, take } from './intake';
import type { Mapping } from './mapping';
import type { Parcel } from './storing';

/** What has been read goes to the store after this long: a mapping that takes its time holds up only what comes after. */
const MOST_READING_MS = 1000;

export class BatchReader {
  /** what of a message is within the limit of its publisher */
  limit: (taken: Taken, item: Item) => Taken = (taken) => taken;

  constructor(
    private readonly settings: Pick<DoorSettings, 'takeRetained'>,
    private readonly rules: IntakeRules,
    private readonly mapping: Mapping | undefined,
    private readonly counts: DoorCounts,
  ) {}

  /** A parcel for each message from the first on, as many as there was time for. */
  async read(batch: readonly Item[]): Promise<readonly Parcel<Item>[]> {
    const parcels = [];
    const untilMs = performance.now() + MOST_READING_MS;
    for (const item of batch) {
      try {
        const taken = this.take(item);
        parcels.push({ item, taken: this.limit(taken instanceof Promise ? await taken : taken, item) });
      } catch (cause) {
        // It would come again and again, and nothing after it would be read.
        parcels.push({ item, taken: unreadable(item, asError(cause)) });
      }
      if (performance.now() > untilMs) break;
    }
    return parcels;
  }

  private take(item: Item): Taken | Promise<Taken> {
    if (item.retain && !this.settings.takeRetained) {
      this.counts.skipped++;
      return EMPTY;
    }
    return this.mapping && !item.isMapped ? this.mapping(item, this.rules) : take(item, this.rules);
  }
}

const EMPTY: Taken = { readings: [], texts: [], rejection: undefined };
const unreadable = (item: Item, { message }: Error) => {
  const what = `could not be read: ${message}`.slice(0, 1000);
  return refused(item, { at: '', code: 'payload-unreadable', what, expected: 'a reading' });
};
