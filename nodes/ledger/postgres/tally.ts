/** How many rows the large tables hold, kept with every write, and how far each has come. */
import type { Client } from './connection';

export type Tallied = 'reading' | 'rejection' | 'finding';

export async function addToTally(client: Client, name: Tallied, amount: number): Promise<void> {
  if (amount === 0) return;
  await client.query(
    'insert into tally (name, amount) values ($1, $2) on conflict (name) do update set amount = tally.amount + excluded.amount',
    [name, amount],
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
