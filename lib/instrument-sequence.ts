/** Instruments that count their readings show when some are missing. */
import { LRUCache } from 'lru-cache';
import { takenAtUs } from './reading';
import type { Reading, Reason } from './records';

interface Count {
  readonly highest: number;
  readonly atUs: number;
}

/** Instruments remembered; the longest unheard is forgotten first. */
const REMEMBERED = 10_000;

export class InstrumentSequences {
  private readonly counts = new LRUCache<string, Count>({ max: REMEMBERED });

  /**
   * Takes note of a reading; tells of readings before it that have not come. A lower number on an earlier reading is one that comes
   * late; on a later reading the instrument has begun to count anew.
   */
  notice(reading: Reading): Reason | undefined {
    const { id, sequence } = reading.instrument ?? {};
    if (id === undefined || sequence === undefined) return undefined;
    const known = this.counts.get(id);
    const atUs = takenAtUs(reading);
    if (known && sequence <= known.highest && atUs <= known.atUs) return undefined;
    this.counts.set(id, { highest: sequence, atUs });
    const missing = known ? sequence - known.highest - 1 : 0;
    return missing > 0 ? gap(id, known!.highest + 1, sequence - 1) : undefined;
  }
}

function gap(id: string, first: number, last: number): Reason {
  const missing = first === last ? `reading ${first} has` : `readings ${first} to ${last} have`;
  return {
    code: 'sequence-gap',
    why: `${missing} not come from instrument ${id}`,
    settle: 'look for readings that the instrument still holds, or that were rejected on the way in',
  };
}
