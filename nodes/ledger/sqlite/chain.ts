/**
 * The chain: with every commit that stored records a link, the SHA-256 over the link before and over what was stored. Whoever changes,
 * removes or slips in a record must write every later link anew, and then the head is no longer the one that was noted elsewhere.
 */
import { createHash, type Hash } from 'node:crypto';
import type { DatabaseSync, StatementSync } from 'node:sqlite';
import { formatInstant } from '../../../lib/instant';
import type { KnownLink, Verification } from '../ledger';

const TABLES = ['reading', 'rejection', 'finding', 'alert_transition'] as const;
type Table = (typeof TABLES)[number];
type Link = { readonly link: number; readonly at_us: number; readonly digest: string } & Record<`${Table}_to`, number>;

interface Row {
  readonly seq: number;
  readonly id: string;
  readonly body: string;
}

export class Chain {
  private readonly head: StatementSync;
  private readonly linkAfter: StatementSync;
  private readonly insert: StatementSync;
  private readonly rowsOf: Readonly<Record<Table, StatementSync>>;
  private readonly countUpTo: Readonly<Record<Table, StatementSync>>;

  constructor(
    database: DatabaseSync,
    private readonly nowUs: () => number,
  ) {
    this.head = database.prepare('select * from chain_link order by link desc limit 1');
    this.linkAfter = database.prepare('select * from chain_link where link > ? order by link limit 1');
    this.insert = database.prepare(
      `insert into chain_link (link, at_us, ${TABLES.map((t) => `${t}_to`).join(', ')}, digest) values (?, ?, ?, ?, ?, ?, ?)`,
    );
    const ofEach = (sql: (table: Table) => string) =>
      Object.fromEntries(TABLES.map((t) => [t, database.prepare(sql(t))])) as Record<Table, StatementSync>;
    this.rowsOf = ofEach((t) => `select seq, id, body from ${t} where seq > ? and seq <= ? order by seq`);
    this.countUpTo = ofEach((t) => `select count(*) as n from ${t} where seq <= ?`);
  }

  /** Links what the transaction stored; nothing when it stored no record. */
  seal(): void {
    const before = this.head.get() as unknown as Link;
    const atUs = this.nowUs();
    const hash = begun(before.link + 1, atUs, before.digest);
    const ends = TABLES.map(
      (table) => this.digestRows(hash, table, before[`${table}_to`], Number.MAX_SAFE_INTEGER).end,
    );
    if (TABLES.every((table, i) => ends[i] === before[`${table}_to`])) return;
    this.insert.run(before.link + 1, atUs, ...ends, hash.digest('hex'));
  }

  /** Link by link, giving way to others in between. */
  async verify(known?: KnownLink): Promise<Verification> {
    let before = this.linkAfter.get(-1) as unknown as Link;
    const notCovered = TABLES.reduce((sum, t) => sum + this.countAt(t, before[`${t}_to`]), 0);
    let records = 0;
    let broken: Verification['broken'] = null;
    let knownFits = known === undefined;
    for (let link = this.next(before); link && !broken; link = this.next(before)) {
      const seen = this.follow(before, link);
      records += seen.ids.length;
      if (seen.why !== undefined) broken = breakAt(link, seen.why, seen.ids);
      knownFits ||= link.link === known!.link && link.digest === known!.digest;
      before = link;
      await new Promise(setImmediate);
    }
    if (!broken) broken = this.unlinked(before);
    if (!broken && !knownFits)
      broken = breakAt({ ...before, link: known!.link }, 'the known link is not in the chain', []);
    const head = { link: before.link, digest: before.digest };
    return { intact: broken === null, links: before.link, records, notCovered, head, broken };
  }

  /** Whoever writes through us links in the same transaction. */
  private unlinked(head: Link): Verification['broken'] {
    const ids = TABLES.flatMap((t) => this.rowsOf[t].all(head[`${t}_to`], Number.MAX_SAFE_INTEGER)) as unknown as Row[];
    if (ids.length === 0) return null;
    const why = 'records were slipped in after the last link';
    return breakAt(
      head,
      why,
      ids.map(({ id }) => id),
    );
  }

  private next(before: Link): Link | undefined {
    return this.linkAfter.get(before.link) as unknown as Link | undefined;
  }

  private follow(before: Link, link: Link): { readonly ids: readonly string[]; readonly why?: string } {
    const hash = begun(link.link, link.at_us, before.digest);
    const ids = TABLES.flatMap((table) => this.digestRows(hash, table, before[`${table}_to`], link[`${table}_to`]).ids);
    if (link.link !== before.link + 1) return { ids, why: `link ${before.link + 1} is missing` };
    const why = 'a record stored with this link was changed, removed or slipped in, or the link itself was';
    return hash.digest('hex') === link.digest ? { ids } : { ids, why };
  }

  private digestRows(hash: Hash, table: Table, from: number, to: number): { end: number; ids: string[] } {
    const ids: string[] = [];
    let end = from;
    let lines = '';
    for (const row of this.rowsOf[table].all(from, to) as unknown as Row[]) {
      // JSON text and our ids hold no line feed: no two contents write the same.
      lines += `${table} ${row.seq} ${row.id} ${row.body}\n`;
      end = row.seq;
      ids.push(row.id);
    }
    hash.update(`${lines}${table} to ${end}\n`);
    return { end, ids };
  }

  private countAt(table: Table, upTo: number): number {
    return (this.countUpTo[table].get(upTo) as { n: number }).n;
  }
}

const begun = (link: number, atUs: number, before: string): Hash =>
  createHash('sha256').update(`${link} ${atUs} ${before}\n`);

const MOST_TOLD = 1000;

const breakAt = ({ link, at_us }: Pick<Link, 'link' | 'at_us'>, why: string, records: readonly string[]) => ({
  link,
  at: formatInstant(at_us),
  why,
  records: records.slice(0, MOST_TOLD),
});
