/** The places of the lanes of a door: how far each was read and sent here, and how far the ledger knows of it. */
import type { Sharing } from '../kit/sharing';
import { LanePlace } from './lane-place';

export class LanePlaces {
  private readonly places = new Map<string, LanePlace>();
  /** gained, and the place in the ledger not read yet */
  private readonly unopened = new Set<string>();

  /** @param all the lane that all hear and one answers for */
  constructor(
    private readonly sharing: Pick<Sharing, 'placesOf' | 'advanceAll'>,
    private readonly all: string,
  ) {}

  /** What all hear is heard from here on. */
  begin(head: number): void {
    this.places.set(this.all, new LanePlace(head));
  }

  get(lane: string): LanePlace | undefined {
    return this.places.get(lane);
  }

  of(holds: (lane: string) => boolean): ReadonlyMap<string, LanePlace> {
    return new Map([...this.places].filter(([lane]) => lane === this.all || holds(lane)));
  }

  gain(lanes: readonly string[]): void {
    for (const lane of lanes) this.unopened.add(lane);
  }

  /** Which of these are heard here no more. */
  lose(lanes: readonly string[]): readonly string[] {
    for (const lane of lanes) this.unopened.delete(lane);
    return lanes.filter((lane) => lane !== this.all && this.places.delete(lane));
  }

  /** Finds the places of what was gained; which lanes are read anew from there. */
  async open(): Promise<readonly string[]> {
    const lanes = [...this.unopened];
    if (lanes.length === 0) return [];
    const found = await this.sharing.placesOf(lanes.map(placeName));
    return lanes.filter((lane, i) => {
      // It may be lost again by now.
      if (!this.unopened.delete(lane)) return false;
      this.places.set(lane, new LanePlace(found[i]!));
      return true;
    });
  }

  /** Notes in the ledger how far the lanes held were sent so long ago; what could not be noted now is noted later. */
  async settle(held: ReadonlySet<string>, settleMs: number): Promise<void> {
    const moved = [...this.places].flatMap(([lane, place]) => {
      // Also of what all hear and another answers for: what was sent is forgotten on the way.
      const seq = place.settled(settleMs);
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
