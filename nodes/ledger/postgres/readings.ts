/** Readings and rejections: what came in. A batch is one statement. */
import { parseInstant } from '../../../lib/instant';
import type { Reading, Rejection } from '../../../lib/records';
import type { LanePlace, LaneReading } from '../../kit/sharing';
import type { Admission, AdmittedReading, StoredReading } from '../ledger';
import { type Client, columnsOf, storable } from './connection';
import { insertRejections } from './rejections';
import { type StoredRow, storedRows } from './stored-row';
import type { Store } from './write';

interface ReadingRow {
  readonly seq: number;
  readonly source: string;
  readonly body: string;
}

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
    readings.map(({ reading }) => reading.id).filter((id) => !fresh.has(id)),
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

export async function readingsAfter(client: Client, seq: number, limit: number, door?: string) {
  const ofDoor = door === undefined ? '' : 'and door = $3';
  const { rows } = await client.query<ReadingRow>(
    `select seq, source, body from reading where seq > $1 ${ofDoor} order by seq limit $2`,
    door === undefined ? [seq, limit] : [seq, limit, storable(door)],
  );
  return rows.map((row): StoredReading => ({ ...opened(row), source: row.source }));
}

/** Each lane is a short walk along the index by door. */
export async function readingsOfLanes(client: Client, places: readonly LanePlace[], limit: number) {
  const { rows } = await client.query<ReadingRow & { door: string }>(
    `select r.seq, r.door, r.source, r.body from unnest($1::text[], $2::bigint[]) as l (door, place) cross join lateral
       (select seq, door, source, body from reading where door = l.door and seq > l.place order by seq limit $3) as r
     order by r.seq limit $3`,
    [places.map(({ lane }) => storable(lane)), places.map(({ seq }) => seq), limit],
  );
  return rows.map((row): LaneReading => ({ ...opened(row), lane: row.door, source: row.source }));
}

export async function head(client: Client): Promise<number> {
  const { rows } = await client.query<{ seq: number }>('select coalesce(max(seq), 0)::bigint as seq from reading');
  return rows[0]!.seq;
}

export async function latest(
  client: Client,
  terminals: readonly string[],
  perTerminal: number,
  upToSeq = Number.MAX_SAFE_INTEGER,
): Promise<StoredReading[]> {
  const { rows } = await client.query<ReadingRow>(
    `select r.seq, r.body from unnest($1::text[]) as t (terminal) cross join lateral
       (select seq, taken_at_us, body from reading where reading.terminal = t.terminal and seq <= $2
        order by taken_at_us desc, seq desc limit $3) as r
     order by r.taken_at_us desc, r.seq desc`,
    [[...new Set(terminals)].map(storable), upToSeq, perTerminal],
  );
  return rows.map(opened);
}

export async function readingsBetween(client: Client, terminal: string, fromUs: number, toUs: number, limit: number) {
  const { rows } = await client.query<ReadingRow>(
    'select seq, body from reading where terminal = $1 and taken_at_us between $2 and $3 order by taken_at_us, seq limit $4',
    [storable(terminal), fromUs, toUs, limit],
  );
  return rows.map(opened);
}

async function insertReadings(client: Client, readings: readonly AdmittedReading[]): Promise<StoredRow[]> {
  if (readings.length === 0) return [];
  const given = readings.map((admitted) => ({
    record: admitted.reading,
    body: JSON.stringify(admitted.reading),
    admitted,
  }));
  const { rows } = await client.query<{ id: string; seq: number }>(
    `insert into reading (id, terminal, taken_at_us, received_at_us, source, door, instrument, taken_by, job, against, angle_deg, voltage_v, body)
     select a, b, c, d, e, f, g, h, i, j, k, l, m::json from unnest($1::text[], $2::text[], $3::bigint[], $4::bigint[], $5::text[], $6::text[],
       $7::text[], $8::text[], $9::text[], $10::text[], $11::float8[], $12::float8[], $13::text[])
       with ordinality as t (a, b, c, d, e, f, g, h, i, j, k, l, m, n) order by n on conflict (id) do nothing returning id, seq`,
    columnsOf(
      given.map(({ admitted, body }) => [...cellsOf(admitted), body]),
      13,
    ),
  );
  return storedRows('reading', rows, given);
}

const cellsOf = ({ reading: r, source, receivedAtUs, door }: AdmittedReading): unknown[] => [
  r.id,
  r.terminal,
  parseInstant(r.takenAt),
  receivedAtUs,
  source,
  door ?? '',
  r.instrument?.id ?? null,
  r.by ?? null,
  r.job ?? null,
  r.against ?? null,
  r.angleDeg ?? null,
  r.voltageV ?? null,
];

const byId = (rows: readonly StoredRow[]) => new Map(rows.map((row) => [row.id, row]));

async function placesOf(client: Client, ids: readonly string[]): Promise<Map<string, number>> {
  if (ids.length === 0) return new Map();
  const { rows } = await client.query<{ id: string; seq: number }>(
    'select id, seq from reading where id = any($1::text[])',
    [ids],
  );
  return new Map(rows.map(({ id, seq }) => [id, seq]));
}

const opened = ({ seq, body }: ReadingRow) => ({ seq, reading: JSON.parse(body) as Reading });
