/**
 * The chain: with every commit that stored records a link, the SHA-256 over the link before and over what was stored in each table.
 * Whoever changes, removes or slips in a record must write every later link anew, and then the head is no longer the one that was
 * noted elsewhere.
 */
import { createHash } from 'node:crypto';

export const CHAINED = ['reading', 'rejection', 'finding', 'alert_transition'] as const;
export type ChainedTable = (typeof CHAINED)[number];

export interface ChainedRow {
  readonly seq: number;
  readonly id: string;
  /** the record as it stands in the table */
  readonly body: string;
}

export type Link = {
  readonly link: number;
  readonly at_us: number;
  /** what a link that lets records go says of it; null in all others */
  readonly let_go: string | null;
  readonly digest: string;
} & Readonly<Record<`${ChainedTable}_to`, number>> &
  Readonly<Record<`${ChainedTable}_digest`, string>>;

/** Columns of chain_link, in the order in which a row of them is written. */
export const LINK_COLUMNS = [
  'link',
  'at_us',
  ...CHAINED.flatMap((table) => [`${table}_to`, `${table}_digest`] as const),
  'let_go',
  'digest',
] as const;

export const cellsOfLink = (link: Link): (string | number | null)[] => LINK_COLUMNS.map((column) => link[column]);

/** What was stored in a table since the link before: where it ends, and the digest over it. */
export interface LinkPart {
  readonly to: number;
  readonly digest: string;
}

/** The next link over what was stored since; undefined when there is nothing to link. */
export function nextLink(
  before: Link,
  atUs: number,
  storedIn: (table: ChainedTable) => LinkPart | undefined,
  letGo: string | null = null,
): Link | undefined {
  const link: Record<string, string | number | null> = { link: before.link + 1, at_us: atUs, let_go: letGo };
  let isEmpty = letGo === null;
  for (const table of CHAINED) {
    const part = storedIn(table);
    if (part) isEmpty = false;
    link[`${table}_to`] = part?.to ?? before[`${table}_to`];
    link[`${table}_digest`] = part?.digest ?? NO_ROWS;
  }
  if (isEmpty) return undefined;
  const said = link as unknown as Omit<Link, 'digest'>;
  return { ...said, digest: digestOfLink(said, before.digest) };
}

const NO_ROWS = '-';

/** @param rows in the order of seq */
export function partOf(rows: readonly ChainedRow[]): LinkPart | undefined {
  const last = rows.at(-1);
  return last && { to: last.seq, digest: digestOfRows(rows) };
}

/** JSON text and our ids hold no line feed: no two contents write the same. */
export function digestOfRows(rows: readonly ChainedRow[]): string {
  if (rows.length === 0) return NO_ROWS;
  return sha256(rows.map(({ seq, id, body }) => `${seq} ${id} ${body}\n`).join(''));
}

export function digestOfLink(link: Omit<Link, 'digest'>, before: string): string {
  const lines = CHAINED.map((table) => `${table} to ${link[`${table}_to`]} ${link[`${table}_digest`]}\n`);
  const letGo = link.let_go === null ? '' : `let go ${link.let_go}\n`;
  return sha256(`${link.link} ${link.at_us} ${before}\n${lines.join('')}${letGo}`);
}

export const sha256 = (text: string): string => createHash('sha256').update(text).digest('hex');
