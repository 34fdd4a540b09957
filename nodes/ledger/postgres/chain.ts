/** The chain of digests in PostgreSQL: sealed from what the transaction stored, followed in one snapshot. */
import type { Pool } from 'pg';
import { type ChainedRow, cellsOfLink, LINK_COLUMNS, type Link, nextLink, partOf } from '../chain-link';
import { type ChainReader, verifyChain } from '../chain-verify';
import type { KnownLink, Verification } from '../ledger';
import type { Remnant } from '../retention/chain-let-go';
import type { Client } from './connection';
import type { StoredRow } from './stored-row';

/** The last write of a transaction; nothing when it stored no record. */
export async function seal(client: Client, stored: readonly StoredRow[], atUs: number): Promise<void> {
  if (stored.length === 0) return;
  const head = await client.query<Link>('select * from chain_link order by link desc limit 1');
  const ofTable = Map.groupBy(stored, (row) => row.table);
  const link = nextLink(head.rows[0]!, atUs, (table) =>
    partOf((ofTable.get(table) ?? []).toSorted((a, b) => a.seq - b.seq)),
  );
  await client.query(
    `insert into chain_link (${LINK_COLUMNS.join(', ')}) values (${LINK_COLUMNS.map((_, i) => `$${i + 1}`).join(', ')})`,
    cellsOfLink(link!),
  );
}

export async function verify(pool: Pool, known?: KnownLink): Promise<Verification> {
  const client = await pool.connect();
  try {
    await client.query('begin isolation level repeatable read read only');
    const found = await verifyChain(readerOf(client), known);
    await client.query('commit');
    client.release();
    return found;
  } catch (cause) {
    client.release(true);
    throw cause;
  }
}

function readerOf(client: Client): ChainReader {
  return {
    linksAfter: async (link, limit) =>
      (await client.query<Link>('select * from chain_link where link > $1 order by link limit $2', [link, limit])).rows,
    rows: async (table, after, upTo) =>
      (
        await client.query<ChainedRow>(`select seq, id, body from ${table} where seq > $1 and seq <= $2 order by seq`, [
          after,
          upTo,
        ])
      ).rows,
    remnants: async (after, upTo) =>
      (
        await client.query<Remnant>(
          `select * from chain_let_go where (from_link <= $2 and to_link > $1) or (link > $1 and link <= $2)
           order by from_link, link`,
          [after, upTo],
        )
      ).rows,
    countUpTo: async (table, seq) =>
      (await client.query<{ n: number }>(`select count(*) as n from ${table} where seq <= $1`, [seq])).rows[0]!.n,
    pause: async () => {},
  };
}
