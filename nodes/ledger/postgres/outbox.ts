/** What must leave the house. Of each subject only the head, its oldest waiting delivery, may go. */
import type { PhaseloomRecord } from '../../../lib/records';
import type { Delivery, DueDelivery } from '../ledger';
import type { DeliveryQuery } from '../sqlite/outbox';
import { type Client, storable } from './connection';

interface Row {
  readonly seq: number;
  readonly destination: string;
  readonly key: string;
  readonly subject: string;
  readonly state: string;
  readonly attempts: number;
  readonly refusals: number;
  readonly enqueued_at_us: number;
  readonly last_error: string;
  readonly body: string;
}

export async function enqueue(client: Client, deliveries: readonly Delivery[], nowUs: number): Promise<void> {
  if (deliveries.length === 0) return;
  const destinations = deliveries.map((d) => storable(d.destination));
  const subjects = deliveries.map((d) => storable(d.subject));
  await client.query(
    `insert into delivery (destination, key, subject, state, is_head, attempts, enqueued_at_us, due_at_us, last_error, body)
     select d, k, s, 'waiting', 0, 0, $5, 0, '', b::json from unnest($1::text[], $2::text[], $3::text[], $4::text[])
       with ordinality as t (d, k, s, b, n) order by n on conflict (destination, key) do nothing`,
    [
      destinations,
      deliveries.map((d) => storable(d.key)),
      subjects,
      deliveries.map((d) => JSON.stringify(d.record)),
      nowUs,
    ],
  );
  await promote(client, destinations, subjects);
}

/** What another holds at this moment is passed over: two never claim the same. */
export async function claimDue(client: Client, destination: string, limit: number, leaseMs: number) {
  const { rows } = await client.query<Row>(
    `with clock as materialized (select (extract(epoch from clock_timestamp()) * 1e6)::bigint as now_us),
     due as (select seq from delivery, clock
       where destination = $1 and state = 'waiting' and is_head = 1 and due_at_us <= now_us
       order by seq limit $2 for update of delivery skip locked)
     update delivery set due_at_us = now_us + $3, attempts = attempts + 1 from due, clock
     where delivery.seq = due.seq returning delivery.*`,
    [storable(destination), limit, Math.round(leaseMs * 1000)],
  );
  return rows.sort((a, b) => a.seq - b.seq).map(opened);
}

/** The next of its subject becomes the head; nothing happens to one that is no longer waiting. */
export async function end(
  client: Client,
  seq: number,
  { state, atUs, answer, error }: { state: string; atUs: number; answer: string | null; error: string | null },
): Promise<void> {
  const { rows } = await client.query<{ destination: string; subject: string }>(
    `update delivery set state = $1, is_head = 0, done_at_us = $2, answer = $3, last_error = coalesce($4, last_error)
     where seq = $5 and state = 'waiting' returning destination, subject`,
    [state, atUs, storable(answer), storable(error), seq],
  );
  const [place] = rows;
  if (place) await promote(client, [place.destination], [place.subject]);
}

export async function failed(
  client: Client,
  seq: number,
  error: string,
  retryAtUs: number,
  isRefusal: boolean,
): Promise<void> {
  await client.query(
    "update delivery set due_at_us = $1, last_error = $2, refusals = refusals + $3 where seq = $4 and state = 'waiting'",
    [retryAtUs, storable(error), Number(isRefusal), seq],
  );
}

export async function deliveries(client: Client, { destination, state, limit = 100 }: DeliveryQuery) {
  // The state stands in the text so that the small index of the waiting ones is used.
  const ofState = state === undefined ? '' : `and state = '${state}'`;
  const { rows } = await client.query<Row>(
    `select * from delivery where ($1::text is null or destination = $1) ${ofState} order by seq ${state === 'waiting' ? 'asc' : 'desc'} limit $2`,
    [storable(destination) ?? null, limit],
  );
  return rows.map((row) => ({ ...opened(row), state: row.state, lastError: row.last_error }));
}

async function promote(client: Client, destinations: readonly string[], subjects: readonly string[]): Promise<void> {
  await client.query(
    `update delivery set is_head = 1 from
       (select distinct d, s from unnest($1::text[], $2::text[]) as t (d, s)) as queue cross join lateral
       (select seq from delivery as w where w.destination = queue.d and w.subject = queue.s and w.state = 'waiting' order by seq limit 1) as head
     where delivery.seq = head.seq and is_head = 0`,
    [destinations, subjects],
  );
}

function opened(row: Row): DueDelivery {
  const { seq, destination, key, subject, attempts, refusals, body } = row;
  const record = JSON.parse(body) as PhaseloomRecord;
  return { seq, destination, key, subject, attempts, refusals, enqueuedAtUs: row.enqueued_at_us, record };
}
