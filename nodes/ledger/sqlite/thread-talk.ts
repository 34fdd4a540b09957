/**
 * What the ledger and its thread say to each other. Readings travel as they stand in columns, other records that come in great numbers as
 * JSON text: a text is copied in one piece, an object member by member.
 */
import type { Admission } from '../ledger';
import type { Cell } from '../reading-cells';
import type { Archive, ArchiveMethod } from './archive';
import type { SqliteLedger } from './sqlite-ledger';

/** What the thread that writes is started with. */
export interface ThreadOrders {
  readonly file: string;
  readonly durability: 'full' | 'normal';
  /** days that readings stay at least; Infinity: for good */
  readonly retainDays: number;
}

/** What a thread beside the one that writes is started with. */
export interface FileOrders {
  readonly file: string;
  /** which file the one is that is written to */
  readonly identity: string | undefined;
}

export type Question = {
  [M in ArchiveMethod]: { readonly do: M; readonly args: Parameters<Archive[M]> };
}[ArchiveMethod];

type Methods = {
  [M in keyof SqliteLedger]: SqliteLedger[M] extends (...args: infer A) => infer R ? (...args: A) => R : never;
};
/** Methods of the ledger whose arguments and results travel as they are. */
export type PlainMethod =
  | 'open'
  | 'close'
  | 'insistOnFull'
  | 'head'
  | 'readingsAfter'
  | 'latestReadings'
  | 'turnedAside'
  | 'readingsBetween'
  | 'cursor'
  | 'advance'
  | 'saveAlert'
  | 'alerts'
  | 'alertList'
  | 'alertHistory'
  | 'claimDue'
  | 'accepted'
  | 'failed'
  | 'abandoned'
  | 'deliveries'
  | 'records'
  | 'count'
  | 'verify'
  | 'letGo'
  | 'health';
export type ArgumentsOf<M extends PlainMethod> = Parameters<Methods[M]>;
export type ResultOf<M extends PlainMethod> = Awaited<ReturnType<Methods[M]>>;

export type Call =
  | { readonly do: PlainMethod; readonly args: readonly unknown[] }
  | { readonly do: 'admit'; readonly cells: readonly Cell[]; readonly rejections: string }
  | { readonly do: 'keep'; readonly body: string; readonly how: 'anew' | undefined }
  /** deliveries: what stands in a message of a flow is no plain data, and JSON makes it so */
  | { readonly do: 'enqueue'; readonly body: string }
  | { readonly do: 'retain'; readonly days: number };

/** Calls made in one turn of the event loop; the first has this number, the others follow. */
export interface Calls<C> {
  readonly first: number;
  readonly calls: readonly C[];
}

export type Answer = { readonly number: number } & (
  | { readonly value: unknown }
  | { readonly failure: { readonly code: string | undefined; readonly message: string } }
);

export interface Answers {
  /** the clock of the ledger when this was sent: what was just stored as due is due */
  readonly clockUs: number;
  /** ids of findings, rejections and transitions that commits stored since the last answers */
  readonly stored: readonly string[];
  readonly answers: readonly Answer[];
}

/** Which is the place of a reading that is not new is told by its sign. */
export type PackedPlaces = Float64Array;

export const packPlaces = ({ readings }: Admission): PackedPlaces =>
  Float64Array.from(readings, ({ seq, isNew }) => (isNew ? seq : -seq));

export const openPlaces = (packed: PackedPlaces): Admission => ({
  readings: Array.from(packed, (signed) => ({ seq: Math.abs(signed), isNew: signed > 0 })),
});
