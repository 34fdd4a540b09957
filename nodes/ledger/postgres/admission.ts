/** What came in, stored: readings and rejections of many callers in a few statements. */
import { parseInstant } from '../../../lib/instant';
import type { Reading, Rejection } from '../../../lib/records';
import type { Admission, AdmittedReading } from '../ledger';
import { cellsOf, READING_COLUMNS } from '../reading-cells';
import { type Client, columnsOf } from './connection';
import { insertRejections } from './rejections';
import { type StoredRow, storedRows } from './stored-row';
import type { Store } from './write';

export interface Batch {
  readonly readings: readonly AdmittedReading[];
  readonly rejections: readonly Rejection[];
}

export const storeBatches: Store<Batch, Admission> = async (client, batches, stored) => {
  const readings = batches.flatMap((batch) => batch.readings);
  const fresh = byId(await insertReadings(client, readings));
  const refused = byId(
    await insertRejections(
      client,
      batches.flatMap((batch) => batch.rejections),
    ),
  );
  const old = await placesOf(
    client,
    readings.map(({ reading }) => reading).filter(({ id }) => !fresh.has(id)),
  );
  const seen = new Set<string>();
  return batches.map((batch, i) => {
    for (const { id } of batch.rejections) take(refused, id, stored[i]!);
    const places = batch.readings.map(({ reading: { id } }) => {
      const seq = fresh.get(id)?.seq ?? old.get(id)!;
      const isNew = fresh.has(id) && !seen.has(id);
      if (isNew) stored[i]!.push(fresh.get(id)!);
      seen.add(id);
      return { seq, isNew };
    });
    return { readings: places };
  });
};

function take(fresh: Map<string, StoredRow>, id: string, stored: StoredRow[]): void {
  const row = fresh.get(id);
  if (row) stored.push(row);
  fresh.delete(id);
}

async function insertReadings(client: Client, readings: readonly AdmittedReading[]): Promise<StoredRow[]> {
  if (readings.length === 0) return [];
  const given = readings.map((admitted) => {
    const cells = cellsOf(admitted);
    return { record: admitted.reading, body: cells.at(-1) as string, cells };
  });
  const { rows } = await client.query<{ id: string; seq: number }>(
    `insert into reading (${READING_COLUMNS.join(', ')})
     select a, b, c, d, e, f, g, h, i, j, k, l, m::json from unnest($1::text[], $2::text[], $3::bigint[], $4::bigint[], $5::text[], $6::text[],
       $7::text[], $8::text[], $9::text[], $10::text[], $11::float8[], $12::float8[], $13::text[])
       with ordinality as t (a, b, c, d, e, f, g, h, i, j, k, l, m, n) order by n on conflict (id, taken_at_us) do nothing returning id, seq`,
    columnsOf(
      given.map(({ cells }) => cells),
      READING_COLUMNS.length,
    ),
  );
  return storedRows('reading', rows, given);
}

const byId = (rows: readonly StoredRow[]) => new Map(rows.map((row) => [row.id, row]));

async function placesOf(client: Client, readings: readonly Reading[]): Promise<Map<string, number>> {
  if (readings.length === 0) return new Map();
  const times = readings.map((r) => parseInstant(r.takenAt));
  // By the bounds of the times the planner passes over all other partitions.
  const { rows } = await client.query<{ id: string; seq: number }>(
    `select reading.id, seq from unnest($1::text[], $2::bigint[]) as t (id, at)
     join reading on reading.id = t.id and taken_at_us = at where taken_at_us between $3 and $4`,
    [readings.map((r) => r.id), times, Math.min(...times), Math.max(...times)],
  );
  return new Map(rows.map(({ id, seq }) => [id, seq]));
}
