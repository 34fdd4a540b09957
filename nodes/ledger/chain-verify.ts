/** Following the chain of digests from its beginning, for both drivers. */
import { formatInstant } from '../../lib/instant';
import { CHAINED, type ChainedRow, type ChainedTable, digestOfLink, digestOfRows, type Link } from './chain-link';
import type { KnownLink, Verification } from './ledger';

/** The tables as they stand, unmoved while they are read. */
export interface ChainReader {
  linksAfter(link: number, limit: number): Promise<readonly Link[]>;
  /** (after, upTo], in the order of seq */
  rows(table: ChainedTable, after: number, upTo: number): Promise<readonly ChainedRow[]>;
  countUpTo(table: ChainedTable, seq: number): Promise<number>;
  /** gives way to others; what is stored meanwhile may be seen afterwards */
  pause(): Promise<void>;
}

const LINKS_AT_ONCE = 500;
const ROWS_AT_ONCE = 5000;
const MOST_TOLD = 1000;

type Broken = NonNullable<Verification['broken']>;
type Rows = Readonly<Record<ChainedTable, readonly ChainedRow[]>>;

export async function verifyChain(reader: ChainReader, known?: KnownLink): Promise<Verification> {
  const [first] = await reader.linksAfter(-1, 1);
  let before = first!;
  let notCovered = 0;
  for (const table of CHAINED) notCovered += await reader.countUpTo(table, before[`${table}_to`]);
  let records = 0;
  let broken: Verification['broken'] = null;
  let knownFits = known === undefined;
  for (let links = await stretchAfter(reader, before); links.length > 0 && !broken; ) {
    const rows = await rowsBetween(reader, before, links.at(-1)!);
    for (const link of links) {
      const own = ownRows(rows, before, link);
      records += CHAINED.reduce((sum, table) => sum + own[table].length, 0);
      broken = flawOf(before, link, own);
      if (broken) break;
      knownFits ||= link.link === known!.link && link.digest === known!.digest;
      before = link;
    }
    await reader.pause();
    links = await stretchAfter(reader, before);
  }
  broken ??= await slippedInAfter(reader, before);
  if (!broken && !knownFits)
    broken = breakAt({ ...before, link: known!.link }, 'the known link is not in the chain', []);
  const head = { link: before.link, digest: before.digest };
  return { intact: broken === null, links: before.link, records, notCovered, head, broken };
}

/** The next links, as many as hold a bearable number of rows. */
async function stretchAfter(reader: ChainReader, before: Link): Promise<readonly Link[]> {
  const links = await reader.linksAfter(before.link, LINKS_AT_ONCE);
  const rowsUpTo = (link: Link) => CHAINED.reduce((sum, table) => sum + link[`${table}_to`] - before[`${table}_to`], 0);
  const tooMany = links.findIndex((link, i) => i > 0 && rowsUpTo(link) > ROWS_AT_ONCE);
  return tooMany < 0 ? links : links.slice(0, tooMany);
}

async function rowsBetween(reader: ChainReader, before: Link, last: Link): Promise<Rows> {
  const rows: Partial<Record<ChainedTable, readonly ChainedRow[]>> = {};
  for (const table of CHAINED) rows[table] = await reader.rows(table, before[`${table}_to`], last[`${table}_to`]);
  return rows as Rows;
}

function ownRows(rows: Rows, before: Link, link: Link): Rows {
  const own = CHAINED.map((table) => {
    const start = firstAfter(rows[table], before[`${table}_to`]);
    return [table, rows[table].slice(start, firstAfter(rows[table], link[`${table}_to`]))];
  });
  return Object.fromEntries(own) as Rows;
}

/** Index of the first row whose place is greater; rows are in the order of their places. */
function firstAfter(rows: readonly ChainedRow[], seq: number): number {
  let low = 0;
  for (let high = rows.length; low < high; ) {
    const middle = (low + high) >> 1;
    if (rows[middle]!.seq <= seq) low = middle + 1;
    else high = middle;
  }
  return low;
}

function flawOf(before: Link, link: Link, rows: Rows): Verification['broken'] {
  const all = CHAINED.flatMap((table) => rows[table]);
  if (link.link !== before.link + 1) return breakAt(link, `link ${before.link + 1} is missing`, all);
  if (digestOfLink(link, before.digest) !== link.digest) return breakAt(link, 'the link itself was changed', all);
  const table = CHAINED.find((t) => digestOfRows(rows[t]) !== link[`${t}_digest`]);
  if (!table) return null;
  return breakAt(link, `a row of ${table} stored with this link was changed, removed or slipped in`, rows[table]);
}

/** Whoever writes through us links in the same transaction. */
async function slippedInAfter(reader: ChainReader, head: Link): Promise<Verification['broken']> {
  for (const table of CHAINED) {
    const rows = await reader.rows(table, head[`${table}_to`], Number.MAX_SAFE_INTEGER);
    if (rows.length > 0) return breakAt(head, 'records were slipped in after the last link', rows);
  }
  return null;
}

const breakAt = ({ link, at_us }: Pick<Link, 'link' | 'at_us'>, why: string, rows: readonly ChainedRow[]): Broken => ({
  link,
  at: formatInstant(at_us),
  why,
  records: rows.slice(0, MOST_TOLD).map(({ id }) => id),
});
