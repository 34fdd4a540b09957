/** Rejections: what came in and could not be used. */
import { parseInstant } from '../../../lib/instant';
import type { Rejection } from '../../../lib/records';
import { type Client, columnsOf } from './connection';
import { type StoredRow, storedRows } from './stored-row';
import type { Store } from './write';

/** True for each that is new. */
export const storeRejections: Store<Rejection, { readonly isNew: boolean }> = async (client, rejections, stored) => {
  const fresh = new Map((await insertRejections(client, rejections)).map((row) => [row.id, row]));
  return rejections.map(({ id }, i) => {
    const row = fresh.get(id);
    if (row) stored[i]!.push(row);
    return { isNew: fresh.delete(id) };
  });
};

export async function insertRejections(client: Client, rejections: readonly Rejection[]): Promise<StoredRow[]> {
  if (rejections.length === 0) return [];
  const once = new Map(rejections.map((record) => [record.id, record]));
  const given = [...once.values()].map((record) => ({ record, body: JSON.stringify(record) }));
  const { rows } = await client.query<{ id: string; seq: number }>(
    `with fresh as (insert into rejection_key (id) select unnest($1::text[]) on conflict do nothing returning id)
     insert into rejection (id, at_us, source, terminal, stage, code, body) select a, b, c, d, e, f, g::json from unnest($1::text[], $2::bigint[], $3::text[], $4::text[], $5::text[], $6::text[], $7::text[])
       with ordinality as t (a, b, c, d, e, f, g, n) join fresh on fresh.id = t.a order by n returning id, seq`,
    columnsOf(
      given.map(({ record: r, body }) => [
        r.id,
        parseInstant(r.at),
        r.source,
        r.terminal,
        r.stage,
        r.problems[0]?.code ?? '',
        body,
      ]),
      7,
    ),
  );
  return storedRows('rejection', rows, given);
}
