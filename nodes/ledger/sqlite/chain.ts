/** The chain of digests in a file. */
import type { DatabaseSync, StatementSync } from 'node:sqlite';
import {
  CHAINED,
  type ChainedRow,
  type ChainedTable,
  cellsOfLink,
  LINK_COLUMNS,
  type Link,
  nextLink,
  sha256,
} from '../chain-link';
import { type ChainReader, verifyChain } from '../chain-verify';
import type { KnownLink, Verification } from '../ledger';
import type { Remnant } from '../retention/chain-let-go';

type OfEach = Readonly<Record<ChainedTable, StatementSync>>;

export class Chain implements ChainReader {
  private readonly head: StatementSync;
  private readonly after: StatementSync;
  private readonly insert: StatementSync;
  private readonly remnantsOf: StatementSync;
  private readonly textOf: OfEach;
  private readonly rowsOf: OfEach;
  private readonly countOf: OfEach;

  constructor(
    database: DatabaseSync,
    private readonly nowUs: () => number,
  ) {
    this.head = database.prepare('select * from chain_link order by link desc limit 1');
    this.after = database.prepare('select * from chain_link where link > ? order by link limit ?');
    this.insert = database.prepare(
      `insert into chain_link (${LINK_COLUMNS.join(', ')}) values (${LINK_COLUMNS.map(() => '?').join(', ')})`,
    );
    this.remnantsOf = database.prepare(
      `select * from chain_let_go where (from_link <= :upTo and to_link > :after) or (link > :after and link <= :upTo)
       order by from_link, link`,
    );
    const ofEach = (sql: (table: ChainedTable) => string) =>
      Object.fromEntries(CHAINED.map((t) => [t, database.prepare(sql(t))])) as OfEach;
    // The text that digestOfRows() makes of rows: one long text comes out of the database sooner than thousands of short ones.
    this.textOf = ofEach(
      (t) => `select max(seq) as last, group_concat(seq || ' ' || id || ' ' || body || char(10), '') as text
       from (select seq, id, body from ${t} where seq > ? order by seq)`,
    );
    this.rowsOf = ofEach((t) => `select seq, id, body from ${t} where seq > ? and seq <= ? order by seq`);
    this.countOf = ofEach((t) => `select count(*) as n from ${t} where seq <= ?`);
  }

  /** Links what the transaction stored; nothing when it stored no record. */
  seal(): void {
    const before = this.head.get() as unknown as Link;
    const link = nextLink(before, this.nowUs(), (table) => {
      const { last, text } = this.textOf[table].get(before[`${table}_to`]) as { last: number | null; text: string };
      return last === null ? undefined : { to: last, digest: sha256(text) };
    });
    if (link) this.insert.run(...cellsOfLink(link));
  }

  verify(known?: KnownLink): Promise<Verification> {
    return verifyChain(this, known);
  }

  async linksAfter(link: number, limit: number): Promise<Link[]> {
    return this.after.all(link, limit) as unknown as Link[];
  }

  async rows(table: ChainedTable, after: number, upTo: number): Promise<ChainedRow[]> {
    return this.read(table, after, upTo);
  }

  async countUpTo(table: ChainedTable, seq: number): Promise<number> {
    return (this.countOf[table].get(seq) as { n: number }).n;
  }

  async remnants(after: number, upTo: number): Promise<Remnant[]> {
    return this.remnantsOf.all({ after, upTo }) as unknown as Remnant[];
  }

  /** The only moment in which others write: between two of these nothing moves. */
  pause(): Promise<void> {
    return new Promise((resolve) => setImmediate(resolve));
  }

  private read(table: ChainedTable, after: number, upTo: number): ChainedRow[] {
    return this.rowsOf[table].all(after, upTo) as unknown as ChainedRow[];
  }
}
