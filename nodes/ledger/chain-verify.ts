/** Following the chain of digests from its beginning, for both drivers. */
import { formatInstant } from '../../lib/instant';
import { CHAINED, type ChainedRow, type ChainedTable, digestOfLink, digestOfRows, type Link } from './chain-link';
import type { KnownLink, Verification } from './ledger';
import { digestOfRemnants, type Remnant } from './retention/chain-let-go';

/** The tables as they stand, unmoved while they are read. */
export interface ChainReader {
  linksAfter(link: number, limit: number): Promise<readonly Link[]>;
  /** (after, upTo], in the order of seq */
  rows(table: ChainedTable, after: number, upTo: number): Promise<readonly ChainedRow[]>;
  /** those about links (after, upTo], and those that such links made; in the order of from_link */
  remnants(after: number, upTo: number): Promise<readonly Remnant[]>;
  countUpTo(table: ChainedTable, seq: number): Promise<number>;
  /** gives way to others; what is stored meanwhile may be seen afterwards */
  pause(): Promise<void>;
}

const LINKS_AT_ONCE = 500;
const ROWS_AT_ONCE = 5000;
const MOST_TOLD = 1000;

type Broken = NonNullable<Verification['broken']>;
type LetGone = Verification['letGo']['last'][number];
type Rows = Readonly<Record<ChainedTable, readonly ChainedRow[]>>;

export async function verifyChain(reader: ChainReader, known?: KnownLink): Promise<Verification> {
  const [first] = await reader.linksAfter(-1, 1);
  let before = first!;
  let notCovered = 0;
  for (const table of CHAINED) notCovered += await reader.countUpTo(table, before[`${table}_to`]);
  const letGo: LetGone[] = [];
  let records = 0;
  let broken: Verification['broken'] = null;
  let knownFits = known === undefined;
  for (let links = await stretchAfter(reader, before); links.length > 0 && !broken; ) {
    const last = links.at(-1)!;
    const rows = await rowsBetween(reader, before, last);
    // Anew for each stretch: readings may have been let go in the pause.
    const remnants = new Remnants(await reader.remnants(before.link, last.link));
    for (const link of links) {
      const own = ownRows(rows, before, link);
      records += CHAINED.reduce((sum, table) => sum + own[table].length, 0);
      broken = flawOf(before, link, own, remnants);
      if (broken) break;
      if (link.let_go !== null) letGo.push(letGoneWith(link));
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
  return { intact: broken === null, links: before.link, records, notCovered, letGo: totalOf(letGo), head, broken };
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

function flawOf(before: Link, link: Link, rows: Rows, remnants: Remnants): Verification['broken'] {
  const all = CHAINED.flatMap((table) => rows[table]);
  if (link.link !== before.link + 1) return breakAt(link, `link ${before.link + 1} is missing`, all);
  if (digestOfLink(link, before.digest) !== link.digest) return breakAt(link, 'the link itself was changed', all);
  const said = link.let_go === null ? undefined : (JSON.parse(link.let_go) as { remnants: string });
  if (said && digestOfRemnants(remnants.madeBy(link.link)) !== said.remnants)
    return breakAt(link, 'what this link says was let go was changed', []);
  const table = CHAINED.find((t) => {
    const left = t === 'reading' ? remnants.of(link.link) : undefined;
    return digestOfRows(rows[t]) !== (left ?? link[`${t}_digest`]);
  });
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

const MOST_LET_GO = 100;

function letGoneWith({ link, at_us, let_go }: Link): LetGone {
  const { by, takenBefore, readings, held } = JSON.parse(let_go!) as LetGone;
  return { link, at: formatInstant(at_us), by, takenBefore, readings, held };
}

const totalOf = (all: readonly LetGone[]): Verification['letGo'] => ({
  readings: all.reduce((sum, { readings }) => sum + readings, 0),
  last: all.slice(-MOST_LET_GO),
});

/** What is left of links that lost readings. Asked link by link, in their order. */
class Remnants {
  private next = 0;
  private covering: Remnant[] = [];

  constructor(private readonly all: readonly Remnant[]) {}

  /** The digest of what is left now: the newest that was said of the link; undefined when it lost nothing. */
  of(link: number): string | undefined {
    while (this.next < this.all.length && this.all[this.next]!.from_link <= link)
      this.covering.push(this.all[this.next++]!);
    this.covering = this.covering.filter((r) => r.to_link >= link);
    return this.covering.toSorted((a, b) => b.link - a.link)[0]?.remaining;
  }

  madeBy(link: number): Remnant[] {
    return this.all.filter((r) => r.link === link);
  }
}

const breakAt = ({ link, at_us }: Pick<Link, 'link' | 'at_us'>, why: string, rows: readonly ChainedRow[]): Broken => ({
  link,
  at: formatInstant(at_us),
  why,
  records: rows.slice(0, MOST_TOLD).map(({ id }) => id),
});
