/** The readings of a reference station around an instant, kept in the order in which they were taken. */
import { takenAtUs } from './reading';
import type { Reading } from './records';

interface Placed {
  readonly reading: Reading;
  readonly us: number;
}

/** Readings handed out on each side of an instant: the nearest may not state its clock. */
const EACH_SIDE = 3;

export class ReferenceStream {
  private readonly entries: Placed[] = [];

  /** @param most readings kept, the newest taken */
  constructor(private readonly most = 4096) {}

  /** Only angles against UTC make a stream. @returns whether the reading is new to it */
  add(reading: Reading): boolean {
    if (reading.angleDeg === undefined || reading.against !== 'utc') return false;
    const us = takenAtUs(reading);
    const i = this.placeOf(us);
    for (let k = i; k < this.entries.length && this.entries[k]!.us === us; k++) {
      if (this.entries[k]!.reading.id === reading.id) return false;
    }
    this.entries.splice(i, 0, { reading, us });
    // Dropped by halves: taking one off the front of a long array for every reading would cost more than it keeps.
    if (this.entries.length > 2 * this.most) this.entries.splice(0, this.entries.length - this.most);
    return true;
  }

  /** The readings nearest to an instant, a few on each side, oldest first. */
  around(us: number): Reading[] {
    const i = this.placeOf(us);
    return this.entries.slice(Math.max(0, i - EACH_SIDE), i + EACH_SIDE).map((p) => p.reading);
  }

  /** Whether readings no further apart than this stand on both sides of the instant, or one on it. */
  brackets(us: number, maxGapS: number): boolean {
    const i = this.placeOf(us);
    const after = this.entries[i]?.us;
    if (after === us) return true;
    const before = this.entries[i - 1]?.us;
    return before !== undefined && after !== undefined && after - before <= maxGapS * 1e6;
  }

  /** The instants nearest before and after this one at which readings were taken, microseconds; infinite where there is none. */
  neighbours(us: number): readonly [beforeUs: number, afterUs: number] {
    const i = this.placeOf(us);
    const after = this.entries.slice(i).find((p) => p.us > us);
    return [this.entries[i - 1]?.us ?? Number.NEGATIVE_INFINITY, after?.us ?? Number.POSITIVE_INFINITY];
  }

  /** Whether a reading was taken at or after the instant. */
  reaches(us: number): boolean {
    return this.placeOf(us) < this.entries.length;
  }

  /** Place of the first reading taken at or after the instant. */
  private placeOf(us: number): number {
    const { entries } = this;
    if (entries.length === 0 || entries.at(-1)!.us < us) return entries.length;
    let low = 0;
    let high = entries.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (entries[middle]!.us < us) low = middle + 1;
      else high = middle;
    }
    return low;
  }
}
