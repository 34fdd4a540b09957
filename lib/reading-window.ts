/** The recent readings of each terminal, in the order in which they were taken, whatever the order in which they came. */
import { LRUCache } from 'lru-cache';
import { takenAtUs } from './reading';
import type { Reading } from './records';

export interface Placed {
  readonly reading: Reading;
  /** when it was taken, microseconds since the epoch */
  readonly us: number;
  /** it came itself; otherwise it is known only from a store */
  readonly came?: boolean;
}

/**
 * new: not seen before. fetched: known only from a store, now it came itself. again: it came before.
 * duplicate: the same measurement came before under another id.
 */
export type Arrived = 'new' | 'fetched' | 'again' | 'duplicate';

interface Entry extends Placed {
  came: boolean;
}

interface Memory {
  /** oldest first */
  readonly entries: Entry[];
  /** every reading known to exist that was taken at or after this is among the entries */
  completeFromUs: number;
  /** readings that were written down wrong, as those that correct them name them */
  readonly corrected: Set<string>;
}

export interface WindowLimits {
  /** readings kept of one terminal, the newest taken */
  readonly perTerminal?: number;
  /** terminals kept, the last read */
  readonly terminals?: number;
}

/** One measurement sent twice under two ids must not count twice: same terminal, instant, angle, voltage and instrument. */
const sameMeasurement = (a: Reading, b: Reading): boolean =>
  a.angleDeg === b.angleDeg && a.voltageV === b.voltageV && a.instrument?.id === b.instrument?.id;

/** One may correct only what the same instrument read. */
const nameOf = (id: string, { instrument }: Reading): string => `${id} ${instrument?.id ?? ''}`;

export class ReadingWindow {
  private readonly memories: LRUCache<string, Memory>;
  private readonly perTerminal: number;

  constructor({ perTerminal = 32, terminals = 50_000 }: WindowLimits = {}) {
    this.perTerminal = perTerminal;
    this.memories = new LRUCache({ max: terminals });
  }

  /** Takes in a reading that came. */
  add(reading: Reading): Arrived {
    const memory = this.memoryOf(reading.terminal) ?? this.start(reading.terminal, Number.NEGATIVE_INFINITY);
    const us = takenAtUs(reading);
    const known = knownAs(memory, reading, us);
    if (!known) {
      this.insert(memory, { reading, us, came: true });
      return 'new';
    }
    if (known.reading.id !== reading.id) return 'duplicate';
    if (known.came) return 'again';
    known.came = true;
    return 'fetched';
  }

  /**
   * Takes in what a store holds of a terminal.
   * @param completeFromUs from when on these are all there are
   */
  fill(terminal: string, readings: readonly Reading[], completeFromUs = Number.NEGATIVE_INFINITY): void {
    const memory = this.memoryOf(terminal) ?? this.start(terminal, completeFromUs);
    memory.completeFromUs = Math.max(memory.completeFromUs, completeFromUs);
    for (const reading of readings) {
      const us = takenAtUs(reading);
      if (!knownAs(memory, reading, us)) this.insert(memory, { reading, us, came: false });
    }
  }

  /** Whether all readings of the terminal that were taken from this instant on are here. */
  covers(terminal: string, fromUs: number): boolean {
    return this.memories.has(terminal) && this.completeFromUs(terminal) <= fromUs;
  }

  /**
   * From when on all readings of the terminal are here, microseconds since the epoch; of one that is not known, infinity.
   * @param afterOneMore when one more reading will have been added, which may push out the oldest
   */
  completeFromUs(terminal: string, afterOneMore = false): number {
    const memory = this.memories.get(terminal);
    if (!memory) return Number.POSITIVE_INFINITY;
    const { entries, completeFromUs } = memory;
    return afterOneMore && entries.length >= this.perTerminal
      ? Math.max(completeFromUs, entries[0]!.us + 1)
      : completeFromUs;
  }

  /** Readings of a terminal taken in [fromUs, toUs], oldest first; without those that another one here corrects. */
  between(terminal: string, fromUs: number, toUs: number): readonly Placed[] {
    const memory = this.memories.get(terminal);
    if (!memory) return [];
    const { entries, corrected } = memory;
    let end = entries.length;
    while (end > 0 && entries[end - 1]!.us > toUs) end--;
    let start = end;
    while (start > 0 && entries[start - 1]!.us >= fromUs) start--;
    const found = entries.slice(start, end);
    return corrected.size === 0 ? found : found.filter(({ reading }) => !corrected.has(nameOf(reading.id, reading)));
  }

  /** When the newest reading of a terminal was taken, microseconds since the epoch; without any, minus infinity. */
  newestUs(terminal: string): number {
    return this.memories.get(terminal)?.entries.at(-1)?.us ?? Number.NEGATIVE_INFINITY;
  }

  private memoryOf(terminal: string): Memory | undefined {
    return this.memories.get(terminal);
  }

  private start(terminal: string, completeFromUs: number): Memory {
    const memory: Memory = { entries: [], completeFromUs, corrected: new Set() };
    this.memories.set(terminal, memory);
    return memory;
  }

  private insert(memory: Memory, entry: Entry): void {
    const { entries, corrected } = memory;
    if (entry.reading.corrects !== undefined) corrected.add(nameOf(entry.reading.corrects, entry.reading));
    let i = entries.length;
    while (i > 0 && entries[i - 1]!.us > entry.us) i--;
    entries.splice(i, 0, entry);
    if (entries.length <= this.perTerminal) return;
    const dropped = entries.shift()!;
    memory.completeFromUs = Math.max(memory.completeFromUs, dropped.us + 1);
  }
}

function knownAs(memory: Memory, reading: Reading, us: number): Entry | undefined {
  return memory.entries.find(
    (e) => e.us === us && (e.reading.id === reading.id || sameMeasurement(e.reading, reading)),
  );
}
