/** The recent readings of terminals, from memory, and from the ledger where memory does not reach: a restart forgets nothing. */
import { takenAtUs } from '../../lib/reading';
import { ReadingWindow } from '../../lib/reading-window';
import type { Reading, Rejection } from '../../lib/records';
import { type Kept, type KeptReadings, type LedgerHandle, patiently } from './kept-readings';

/** Readings fetched of one terminal the first time it is met. */
const PER_TERMINAL = 32;
/** Readings of one terminal looked at where a reading from before that comes in. */
const OF_THE_PAST = 1000;
/** Rejections of one terminal looked through for readings that a screen turned aside. */
const REJECTIONS = 1000;

export interface Asked {
  readonly reading: Reading;
  /** place of the reading in the ledger: what stands after it comes by itself, or was turned aside on the way */
  readonly seq: number | undefined;
  readonly terminals: readonly string[];
  readonly fromUs: number;
  readonly toUs: number;
  /** whether a window that does not reach back to fromUs holds enough all the same */
  readonly isTold?: (window: ReadingWindow) => boolean;
}

export class RecentReadings {
  private window = new ReadingWindow({ perTerminal: PER_TERMINAL });
  private readonly fetching = new Map<string, Promise<void>>();
  /** by terminal: readings seen in the ledger after the place of the one that asked, with their places */
  private readonly later = new Map<string, Map<string, number>>();
  /** readings that came and wait for a fetch */
  private readonly underway = new Set<string>();

  constructor(private readonly ledger: LedgerHandle | undefined) {}

  /** What is in memory may have gaps: other workers dealt with some readings. The ledger is asked again. */
  forget(): void {
    this.window = new ReadingWindow({ perTerminal: PER_TERMINAL });
    this.later.clear();
  }

  /** A window that holds what is known of the terminals over a time. */
  over(asked: Asked): ReadingWindow | Promise<ReadingWindow> {
    const { ledger, window } = this;
    const { reading, terminals, seq } = asked;
    this.later.get(reading.terminal)?.delete(reading.id);
    if (!ledger || (!terminals.some((t) => this.isBehind(t, seq)) && this.suffices(asked))) return window;
    return this.fetched(ledger, asked);
  }

  private suffices({ terminals, fromUs, isTold }: Asked): boolean {
    return terminals.every((t) => this.window.covers(t, fromUs)) || isTold?.(this.window) === true;
  }

  private async fetched(ledger: LedgerHandle, asked: Asked): Promise<ReadingWindow> {
    this.underway.add(asked.reading.id);
    try {
      await Promise.all(asked.terminals.map((terminal) => this.met(ledger, terminal, asked.seq)));
    } finally {
      this.underway.delete(asked.reading.id);
    }
    return this.suffices(asked) ? this.window : past(ledger, asked);
  }

  /** Whether readings from before this place were seen in the ledger and have not come: they came in an earlier run. */
  private isBehind(terminal: string, seq: number | undefined): boolean {
    const later = this.later.get(terminal);
    if (!later) return false;
    for (const place of later.values()) if (seq === undefined || place < seq) return true;
    return false;
  }

  /** Fetches a terminal; those who ask meanwhile wait for the same answer. */
  private async met(ledger: LedgerHandle, terminal: string, seq: number | undefined): Promise<void> {
    await this.fetching.get(terminal);
    const { window } = this;
    if (window.covers(terminal, Number.POSITIVE_INFINITY) && !this.isBehind(terminal, seq)) return;
    const fetch = patiently(ledger, async (kept) => {
      const found = await Promise.all([kept.latestReadings([terminal], PER_TERMINAL), turnedAside(kept, terminal)]);
      // Forgotten in the meantime: what was asked before no longer counts.
      if (window === this.window) this.takeIn(terminal, ...found, seq);
    });
    const ended = fetch.catch(() => undefined).finally(() => this.fetching.delete(terminal));
    this.fetching.set(terminal, ended);
    await fetch;
  }

  private takeIn(terminal: string, found: readonly Kept[], refused: ReadonlySet<string>, seq = Infinity): void {
    const oldestUs = found.length < PER_TERMINAL ? Number.NEGATIVE_INFINITY : takenAtUs(found.at(-1)!.reading) + 1;
    const sound = found.filter((f) => !refused.has(f.reading.id));
    const later = sound.filter((f) => f.seq > seq && !this.underway.has(f.reading.id));
    if (later.length > 0) this.later.set(terminal, new Map(later.map((f) => [f.reading.id, f.seq])));
    else this.later.delete(terminal);
    this.window.fill(terminal, before(sound, seq), oldestUs);
  }
}

/** Those stored before a place, in the order of storing where they were taken at one instant. */
const before = (found: readonly Kept[], seq: number): Reading[] =>
  found
    .filter((f) => f.seq < seq)
    .sort((a, b) => a.seq - b.seq)
    .map((f) => f.reading);

/** A window over a time that memory no longer holds, as it stood when the reading was stored. */
async function past(ledger: LedgerHandle, { terminals, fromUs, toUs, seq = Infinity }: Asked): Promise<ReadingWindow> {
  const window = new ReadingWindow({ perTerminal: OF_THE_PAST });
  await Promise.all(
    terminals.map((terminal) =>
      patiently(ledger, async (kept) => {
        const [found, refused] = await Promise.all([
          kept.readingsBetween(terminal, fromUs, toUs, OF_THE_PAST),
          turnedAside(kept, terminal),
        ]);
        const sound = found.filter((f) => !refused.has(f.reading.id));
        window.fill(terminal, before(sound, seq));
      }),
    ),
  );
  return window;
}

/** Readings that a screen turned aside stand in the ledger like all others, and must not come back by this way. */
async function turnedAside(kept: KeptReadings, terminal: string): Promise<ReadonlySet<string>> {
  const { records } = await kept.records({
    kinds: ['rejection'],
    subject: terminal,
    limit: REJECTIONS,
    order: 'newest-first',
  });
  const ids = records.flatMap((r) => ((r as Rejection).stage === 'screen' ? (r as Rejection).from : []));
  return new Set(ids);
}
