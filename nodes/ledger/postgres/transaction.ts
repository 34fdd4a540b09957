/**
 * One transaction of the ledger. All workers write one after the other, so places in the ledger become visible in their order and nobody
 * who reads on from a place misses one. A connection lost while the commit was under way leaves it open whether it came to pass; the
 * server remembers that of every transaction, and is asked.
 */
import type { Pool, PoolClient, QueryResult } from 'pg';
import { StoreTrouble } from '../sqlite/store-trouble';
import type { Client } from './connection';
import type { Outcome } from './write';

type Explain = (cause: unknown) => unknown;

/** The commit was asked for and no answer came. */
export class CommitInDoubt extends Error {
  constructor(
    readonly transactionId: string,
    readonly outcomes: readonly Outcome[],
    readonly trouble: StoreTrouble,
  ) {
    super(trouble.message);
  }
}

const BEGIN = `begin; select pg_advisory_xact_lock(hashtext('phaseloom ledger'), hashtext(current_schema()));
  select txid_current()::text as id`;

/** Throws CommitInDoubt, or what `explain` makes of any other failure, and then nothing is stored. */
export async function inTransaction(
  pool: Pool,
  explain: Explain,
  body: (client: Client) => Promise<readonly Outcome[]>,
): Promise<readonly Outcome[]> {
  const client = await connected(pool, explain);
  let broken = false;
  let asked: { readonly id: string; readonly outcomes: readonly Outcome[] } | undefined;
  try {
    const begun = (await client.query(BEGIN)) as unknown as QueryResult<{ id: string }>[];
    const outcomes = await body(client);
    asked = { id: begun.at(-1)!.rows[0]!.id, outcomes };
    await client.query('commit');
    return outcomes;
  } catch (cause) {
    await client.query('rollback').catch(() => (broken = true));
    const why = explain(cause);
    if (asked && broken && why instanceof StoreTrouble) throw new CommitInDoubt(asked.id, asked.outcomes, why);
    throw why;
  } finally {
    client.off('error', ignore);
    client.release(broken);
  }
}

/** Whether a commit in doubt came to pass. Throws while the server cannot be asked or is still at it. */
export async function cameToPass(pool: Pool, explain: Explain, { transactionId, trouble }: CommitInDoubt) {
  const client = await connected(pool, explain);
  let status: string | null | undefined;
  try {
    const { rows } = await client.query<{ status: string | null }>('select txid_status($1::bigint) as status', [
      transactionId,
    ]);
    status = rows[0]?.status;
  } catch (cause) {
    const why = explain(cause);
    // Another server has taken over and never heard of it, or it is too long ago: storing it again tells.
    if (why instanceof StoreTrouble) throw why;
  } finally {
    client.off('error', ignore);
    client.release();
  }
  if (status === 'in progress') throw trouble;
  return status === 'committed';
}

async function connected(pool: Pool, explain: Explain): Promise<PoolClient> {
  const client = await pool.connect().catch((cause) => {
    throw explain(cause);
  });
  // A connection that breaks also fails the statement under way, and that is where it is told.
  return client.on('error', ignore);
}

const ignore = () => {};
