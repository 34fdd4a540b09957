/** What the nodes of this floor need of a ledger; nodes/ledger/ledger.ts says what each call means. */
import type { Finding, Kind, PhaseloomRecord, Reading, Rejection } from '../../lib/records';
import type { Sharing } from './sharing';
import { Trouble } from './trouble';

export interface KeptReadings {
  latestReadings(terminals: readonly string[], perTerminal: number): Promise<readonly Kept[]>;
  turnedAside(terminals: readonly string[]): Promise<readonly string[]>;
  readingsBetween(terminal: string, fromUs: number, toUs: number, limit: number): Promise<readonly Kept[]>;
  records(query: {
    readonly kinds: readonly Kind[];
    readonly subject?: string;
    readonly currentOnly?: boolean;
    readonly fromUs?: number;
    readonly toUs?: number;
    readonly limit: number;
    readonly after?: string;
    readonly order?: 'newest-first';
  }): Promise<{ readonly records: readonly PhaseloomRecord[]; readonly next?: string }>;
  keep(record: Finding | Rejection, how?: 'anew'): Promise<unknown>;
  onCommit(listener: (records: readonly PhaseloomRecord[]) => void): () => void;
  readonly sharing?: Sharing;
}

export interface Kept {
  readonly seq: number;
  readonly reading: Reading;
}

/** The ledger's config node as this floor sees it. */
export interface LedgerHandle {
  ready(): Promise<KeptReadings>;
}

const PAUSES_MS = [50, 200, 1000, 3000, 10_000];
/** Troubles that asking again does not mend. */
const FINAL = new Set<unknown>(['ledger-closed', 'config']);

/** Asks again for a while: a finding must not be lost because the ledger was away for a moment. */
export async function patiently<T>(ledger: LedgerHandle, ask: (kept: KeptReadings) => Promise<T>): Promise<T> {
  for (let attempt = 0; ; attempt++) {
    try {
      return await ask(await ledger.ready());
    } catch (cause) {
      if (FINAL.has((cause as { code?: unknown }).code)) throw cause;
      const pause = PAUSES_MS[attempt];
      if (pause === undefined) {
        throw new Trouble('ledger-unreadable', `the ledger did not answer: ${(cause as Error).message}`);
      }
      await new Promise((resolve) => setTimeout(resolve, pause));
    }
  }
}

/** Keeps records; the ledger commits those that wait as one group. */
export async function keep(
  ledger: LedgerHandle,
  records: readonly (Finding | Rejection)[],
  how?: 'anew',
): Promise<void> {
  const kept = await patiently(ledger, async (opened) => opened);
  await Promise.all(records.map((r) => kept.keep(r, how)));
}
