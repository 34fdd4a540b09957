/** The recent readings of terminals, from memory, and from the ledger where memory does not reach: a restart forgets nothing. */

import { takenAtUs } from '../../lib/reading';
import { ReadingWindow } from '../../lib/reading-window';
import type { Rejection } from '../../lib/records';
import { type KeptReadings, type LedgerHandle, patiently } from './kept-readings';

/** Readings fetched of one terminal the first time it is met. */
const PER_TERMINAL = 32;
/** Readings of one terminal looked at where a reading from before that comes in. */
const OF_THE_PAST = 1000;
/** Rejections of one terminal looked through for readings that the screen turned aside. */
const REJECTIONS = 1000;

export interface Span {
  readonly terminals: readonly string[];
  readonly fromUs: number;
  readonly toUs: number;
}

export class RecentReadings {
  private readonly window = new ReadingWindow({ perTerminal: PER_TERMINAL });
  private readonly fetching = new Map<string, Promise<void>>();

  constructor(private readonly ledger: LedgerHandle | undefined) {}

  /**
   * A window that holds what is known of the terminals over a time.
   * @param seq place of the reading that asks: what the ledger took in after it will come by itself
   */
  over(span: Span, seq: number | undefined): ReadingWindow | Promise<ReadingWindow> {
    const { ledger, window } = this;
    if (!ledger || span.terminals.every((t) => window.covers(t, span.fromUs))) return window;
    return this.fetched(ledger, span, seq);
  }

  private async fetched(ledger: LedgerHandle, span: Span, seq: number | undefined): Promise<ReadingWindow> {
    await Promise.all(span.terminals.map((terminal) => this.met(ledger, terminal, seq)));
    if (span.terminals.every((t) => this.window.covers(t, span.fromUs))) return this.window;
    return past(ledger, span);
  }

  /** Fetches a terminal the first time; those who ask meanwhile wait for the same answer. */
  private met(ledger: LedgerHandle, terminal: string, seq: number | undefined): Promise<void> | undefined {
    if (this.window.covers(terminal, Number.POSITIVE_INFINITY)) return undefined;
    const waiting = this.fetching.get(terminal);
    if (waiting) return waiting;
    const fetch = patiently(ledger, async (kept) => {
      const [found, refused] = await Promise.all([
        kept.latestReadings([terminal], PER_TERMINAL, seq === undefined ? undefined : seq - 1),
        turnedAside(kept, terminal),
      ]);
      const oldestUs = found.length < PER_TERMINAL ? Number.NEGATIVE_INFINITY : takenAtUs(found.at(-1)!.reading) + 1;
      const readings = found.map((f) => f.reading).filter((r) => !refused.has(r.id));
      this.window.fill(terminal, readings, oldestUs);
    }).finally(() => this.fetching.delete(terminal));
    this.fetching.set(terminal, fetch);
    return fetch;
  }
}

/** A window over a time that memory no longer holds. */
async function past(ledger: LedgerHandle, { terminals, fromUs, toUs }: Span): Promise<ReadingWindow> {
  const window = new ReadingWindow({ perTerminal: OF_THE_PAST });
  await Promise.all(
    terminals.map((terminal) =>
      patiently(ledger, async (kept) => {
        const [found, refused] = await Promise.all([
          kept.readingsBetween(terminal, fromUs, toUs, OF_THE_PAST),
          turnedAside(kept, terminal),
        ]);
        window.fill(
          terminal,
          found.map((f) => f.reading).filter((r) => !refused.has(r.id)),
        );
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
  return new Set(records.flatMap((r) => ((r as Rejection).stage === 'screen' ? (r as Rejection).from : [])));
}
