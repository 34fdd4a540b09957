/** Readings and rejections: what came in. A batch is one statement. */
import { parseInstant } from '../../../lib/instant';
import type { PhaseloomRecord, Reading, Rejection } from '../../../lib/records';
import type { Admission, AdmittedReading, StoredReading } from '../ledger';
import { type Client, storable } from './connection';
import { addToTally } from './tally';

interface ReadingRow {
  readonly seq: number;
  readonly source: string;
  readonly body: string;
}

export async function admit(
  client: Client,
  readings: readonly AdmittedReading[],
  rejections: readonly Rejection[],
  stored: PhaseloomRecord[],
): Promise<Admission> {
  const fresh = new Map(readings.length > 0 ? await insertReadings(client, readings) : []);
  await addToTally(client, 'reading', fresh.size);
  if (rejections.length > 0) await reject(client, rejections, stored);
  const old = await placesOf(
    client,
    readings.map(({ reading }) => reading.id).filter((id) => !fresh.has(id)),
  );
  const seen = new Set<string>();
  return {
    readings: readings.map(({ reading: { id } }) => {
      const isNew = fresh.has(id) && !seen.has(id);
      seen.add(id);
      return { seq: (fresh.get(id) ?? old.get(id))!, isNew };
    }),
  };
}

/** How many were new. */
export async function reject(
  client: Client,
  rejections: readonly Rejection[],
  stored: PhaseloomRecord[],
): Promise<number> {
  const columns = columnsOf(
    rejections.map((r) => [
      r.id,
      parseInstant(r.at),
      r.source,
      r.terminal,
      r.stage,
      r.problems[0]?.code ?? '',
      JSON.stringify(r),
    ]),
    7,
  );
  const { rows } = await client.query<{ id: string }>(
    `insert into rejection (id, at_us, source, terminal, stage, code, body)
     select a, b, c, d, e, f, g::json from unnest($1::text[], $2::bigint[], $3::text[], $4::text[], $5::text[], $6::text[], $7::text[])
       with ordinality as t (a, b, c, d, e, f, g, n) order by n on conflict (id) do nothing returning id`,
    columns,
  );
  const fresh = new Set(rows.map((row) => row.id));
  for (const rejection of rejections) if (fresh.delete(rejection.id)) stored.push(rejection);
  await addToTally(client, 'rejection', rows.length);
  return rows.length;
}

export async function readingsAfter(client: Client, seq: number, limit: number, door?: string) {
  const ofDoor = door === undefined ? '' : 'and door = $3';
  const { rows } = await client.query<ReadingRow>(
    `select seq, source, body from reading where seq > $1 ${ofDoor} order by seq limit $2`,
    door === undefined ? [seq, limit] : [seq, limit, storable(door)],
  );
  return rows.map((row): StoredReading => ({ ...opened(row), source: row.source }));
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

async function insertReadings(client: Client, readings: readonly AdmittedReading[]): Promise<[string, number][]> {
  const { rows } = await client.query<{ id: string; seq: number }>(
    `insert into reading (id, terminal, taken_at_us, received_at_us, source, door, instrument, taken_by, job, against, angle_deg, voltage_v, body)
     select a, b, c, d, e, f, g, h, i, j, k, l, m::json from unnest($1::text[], $2::text[], $3::bigint[], $4::bigint[], $5::text[], $6::text[],
       $7::text[], $8::text[], $9::text[], $10::text[], $11::float8[], $12::float8[], $13::text[])
       with ordinality as t (a, b, c, d, e, f, g, h, i, j, k, l, m, n) order by n on conflict (id) do nothing returning id, seq`,
    columnsOf(readings.map(cellsOf), 13),
  );
  return rows.map(({ id, seq }) => [id, seq]);
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
  JSON.stringify(r),
];

async function placesOf(client: Client, ids: readonly string[]): Promise<Map<string, number>> {
  if (ids.length === 0) return new Map();
  const { rows } = await client.query<{ id: string; seq: number }>(
    'select id, seq from reading where id = any($1::text[])',
    [ids],
  );
  return new Map(rows.map(({ id, seq }) => [id, seq]));
}

const columnsOf = (rows: readonly (readonly unknown[])[], width: number): unknown[][] =>
  Array.from({ length: width }, (_, i) => rows.map((row) => storable(row[i])));

const opened = ({ seq, body }: ReadingRow): StoredReading => ({ seq, reading: JSON.parse(body) as Reading });
