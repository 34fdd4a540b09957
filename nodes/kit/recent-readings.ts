/** The recent readings of terminals, from memory, and from the ledger where memory does not reach: a restart forgets nothing. */
import DataLoader from 'dataloader';
import { takenAtUs } from '../../lib/reading';
import { ReadingWindow } from '../../lib/reading-window';
import type { Reading } from '../../lib/records';
import { type Kept, type LedgerHandle, patiently } from './kept-readings';

/** Readings fetched of one terminal the first time it is met. */
const PER_TERMINAL = 32;
/** Readings of one terminal looked at where a reading from before that comes in. */
const OF_THE_PAST = 1000;
/** Terminals asked for at once: the ledger has others to answer. */
const TERMINALS_AT_ONCE = 100;

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

/** What the ledger holds of a terminal. */
interface Found {
  /** newest first */
  readonly kept: readonly Kept[];
  /** Readings that a screen turned aside stand in the ledger like all others, and must not come back by this way. */
  readonly refused: ReadonlySet<string>;
}

export class RecentReadings {
  private window = new ReadingWindow({ perTerminal: PER_TERMINAL });
  private readonly fetching = new Map<string, Promise<void>>();
  /** by terminal: readings seen in the ledger after the place of the one that asked, with their places */
  private readonly later = new Map<string, Map<string, number>>();
  /** readings that came and wait for a fetch */
  private readonly underway = new Set<string>();

  private readonly found: DataLoader<string, Found> | undefined;

  constructor(private readonly ledger: LedgerHandle | undefined) {
    this.found = ledger && finding(ledger);
  }

  /** What is in memory may have gaps: other workers dealt with some readings. The ledger is asked again. */
  forget(): void {
    this.window = new ReadingWindow({ perTerminal: PER_TERMINAL });
    this.later.clear();
  }

  /** A window that holds what is known of the terminals over a time. */
  over(asked: Asked): ReadingWindow | Promise<ReadingWindow> {
    const { ledger, found, window } = this;
    const { reading, terminals, seq } = asked;
    this.later.get(reading.terminal)?.delete(reading.id);
    if (!ledger || !found || (!terminals.some((t) => this.isBehind(t, seq)) && this.suffices(asked))) return window;
    return this.fetched(ledger, found, asked);
  }

  private suffices({ terminals, fromUs, isTold }: Asked): boolean {
    return terminals.every((t) => this.window.covers(t, fromUs)) || isTold?.(this.window) === true;
  }

  private async fetched(ledger: LedgerHandle, found: DataLoader<string, Found>, asked: Asked): Promise<ReadingWindow> {
    this.underway.add(asked.reading.id);
    try {
      await Promise.all(asked.terminals.map((terminal) => this.met(found, terminal, asked.seq)));
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
  private async met(found: DataLoader<string, Found>, terminal: string, seq: number | undefined): Promise<void> {
    await this.fetching.get(terminal);
    const { window } = this;
    if (window.covers(terminal, Number.POSITIVE_INFINITY) && !this.isBehind(terminal, seq)) return;
    const fetch = found.load(terminal).then((of) => {
      // Forgotten in the meantime: what was asked before no longer counts.
      if (window === this.window) this.takeIn(terminal, of, seq);
    });
    const ended = fetch.catch(() => undefined).finally(() => this.fetching.delete(terminal));
    this.fetching.set(terminal, ended);
    await fetch;
  }

  private takeIn(terminal: string, { kept, refused }: Found, seq = Infinity): void {
    const oldestUs = kept.length < PER_TERMINAL ? Number.NEGATIVE_INFINITY : takenAtUs(kept.at(-1)!.reading) + 1;
    const sound = kept.filter((f) => !refused.has(f.reading.id));
    const later = sound.filter((f) => f.seq > seq && !this.underway.has(f.reading.id));
    if (later.length > 0) this.later.set(terminal, new Map(later.map((f) => [f.reading.id, f.seq])));
    else this.later.delete(terminal);
    this.window.fill(terminal, before(sound, seq), oldestUs);
  }
}

/** What the ledger holds of terminals. Those asked for within one turn of the event loop are asked for together. */
function finding(ledger: LedgerHandle): DataLoader<string, Found> {
  const ask = (terminals: readonly string[]) =>
    patiently(ledger, async (kept) => {
      const [latest, aside] = await Promise.all([
        kept.latestReadings(terminals, PER_TERMINAL),
        kept.turnedAside(terminals),
      ]);
      const byTerminal = Map.groupBy(latest, ({ reading }) => reading.terminal);
      const refused = new Set(aside);
      return terminals.map((terminal) => ({ kept: byTerminal.get(terminal) ?? [], refused }));
    });
  return new DataLoader(ask, {
    cache: false,
    maxBatchSize: TERMINALS_AT_ONCE,
    batchScheduleFn: (send) => void setImmediate(send),
  });
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
          kept.turnedAside([terminal]),
        ]);
        const aside = new Set(refused);
        const sound = found.filter((f) => !aside.has(f.reading.id));
        window.fill(terminal, before(sound, seq));
      }),
    ),
  );
  return window;
}
