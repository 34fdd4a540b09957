/**
 * How readings were held against the streams of the reference stations. What of a stream comes late, since the worker that had it is
 * gone, may hold them better than what was there when they were judged.
 */
import { LRUCache } from 'lru-cache';
import type { Aligned, NotAligned } from '../../lib/align';
import { takenAtUs } from '../../lib/reading';
import type { Reading } from '../../lib/records';

type Made = Aligned | NotAligned;

/** Readings remembered as held against a stream. */
const REMEMBERED = 20_000;

export class Alignments {
  private readonly made = new WeakMap<Reading, Map<string, Made>>();
  private readonly lately = new LRUCache<Reading, number>({ max: REMEMBERED });
  private newestUs = Number.NEGATIVE_INFINITY;

  /** An alignment between two readings of a reference: only one that comes late between them would better it. */
  interpolated(reading: Reading, reference: string): Aligned | undefined {
    const made = this.made.get(reading)?.get(reference);
    return made && isInterpolated(made) ? made : undefined;
  }

  note(reading: Reading, reference: string, made: Made): Made {
    const known = this.made.get(reading) ?? new Map<string, Made>();
    this.made.set(reading, known.set(reference, made));
    const us = takenAtUs(reading);
    this.newestUs = Math.max(this.newestUs, us);
    this.lately.set(reading, us);
    return made;
  }

  /**
   * Readings taken between two instants that are held better now; noted as such.
   * @param anew holds a reading against what is known of the reference now
   */
  bettered(reference: string, fromUs: number, toUs: number, anew: (reading: Reading) => Made): Reading[] {
    if (this.newestUs <= fromUs) return [];
    const bettered: Reading[] = [];
    for (const reading of this.lately.rkeys()) {
      const us = this.lately.peek(reading)!;
      if (us <= fromUs || us >= toUs) continue;
      const before = this.made.get(reading)?.get(reference);
      const now = anew(reading);
      if (!before || !isBetter(now, before)) continue;
      this.made.get(reading)!.set(reference, now);
      bettered.push(reading);
    }
    return bettered;
  }
}

const isInterpolated = (made: Made): made is Aligned => made.aligned && made.method === 'interpolated';

function isBetter(now: Made, before: Made): boolean {
  if (!now.aligned) return false;
  if (!before.aligned || (isInterpolated(now) && !isInterpolated(before))) return true;
  return now.method === before.method && Math.abs(now.spanS) < Math.abs(before.spanS);
}
