/** How many rows the large tables hold, kept with every write, and how far each has come. */
import { type Client, columnsOf } from './connection';
import type { StoredRow } from './stored-row';

const TALLIED = ['reading', 'rejection', 'finding'] as const;

/** Once a transaction: a count that each record moved by one would leave a row behind for each. */
export async function countStored(client: Client, stored: readonly StoredRow[]): Promise<void> {
  const amounts = TALLIED.map((table) => [table, stored.filter((row) => row.table === table).length] as const);
  const moved = amounts.filter(([, amount]) => amount > 0);
  if (moved.length === 0) return;
  await client.query(
    `insert into tally (name, amount) select * from unnest($1::text[], $2::bigint[])
     on conflict (name) do update set amount = tally.amount + excluded.amount`,
    columnsOf(moved, 2),
  );
}

/** All counts of health() in one question. */
export async function readCounts(client: Client) {
  const { rows } = await client.query<{ name: string; amount: number }>(
    `select name, amount from tally
     union all select 'alertsOpen', count(*) from alert where state <> 'normal'
     union all select 'deliveriesWaiting', count(*) from delivery where state = 'waiting'`,
  );
  const amount = (name: string) => rows.find((row) => row.name === name)?.amount ?? 0;
  return {
    readings: amount('reading'),
    rejections: amount('rejection'),
    findings: amount('finding'),
    alertsOpen: amount('alertsOpen'),
    deliveriesWaiting: amount('deliveriesWaiting'),
  };
}

export async function cursor(client: Client, name: string): Promise<number> {
  const { rows } = await client.query<{ seq: number }>('select seq from place where name = $1', [name]);
  return rows[0]?.seq ?? 0;
}

/** Never moves back. */
export async function advance(client: Client, name: string, seq: number, nowUs: number): Promise<void> {
  await client.query(
    `insert into place (name, seq, moved_at_us) values ($1, $2, $3) on conflict (name) do update
     set seq = excluded.seq, moved_at_us = excluded.moved_at_us where excluded.seq > place.seq`,
    [name, seq, nowUs],
  );
}

export async function placesOf(client: Client, names: readonly string[]): Promise<number[]> {
  const { rows } = await client.query<{ name: string; seq: number }>(
    'select name, seq from place where name = any($1::text[])',
    [names],
  );
  const places = new Map(rows.map(({ name, seq }) => [name, seq]));
  return names.map((name) => places.get(name) ?? 0);
}

export async function advanceAll(
  client: Client,
  places: readonly { readonly name: string; readonly seq: number }[],
  nowUs: number,
): Promise<void> {
  await client.query(
    `insert into place (name, seq, moved_at_us) select n, s, $3 from unnest($1::text[], $2::bigint[]) as t (n, s) order by n
     on conflict (name) do update set seq = excluded.seq, moved_at_us = excluded.moved_at_us where excluded.seq > place.seq`,
    [places.map(({ name }) => name), places.map(({ seq }) => seq), nowUs],
  );
}
