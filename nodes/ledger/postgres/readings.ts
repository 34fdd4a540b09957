/** Readings as they are asked for. */
import type { Reading, Rejection } from '../../../lib/records';
import type { LanePlace, LaneReading } from '../../kit/sharing';
import { REJECTIONS_LOOKED_AT, type StoredReading } from '../ledger';
import { type Client, storable } from './connection';

interface ReadingRow {
  readonly seq: number;
  readonly source: string;
  readonly body: string;
}

/** Named statements are planned once a connection: with many partitions the plan costs more than the answer. */
export async function readingsAfter(client: Client, seq: number, limit: number, door?: string) {
  const ofDoor = door === undefined ? '' : 'and door = $3';
  const { rows } = await client.query<ReadingRow>({
    name: door === undefined ? 'readings-after' : 'readings-after-of-door',
    text: `select seq, source, body from reading where seq > $1 ${ofDoor} order by seq limit $2`,
    values: door === undefined ? [seq, limit] : [seq, limit, storable(door)],
  });
  return rows.map((row): StoredReading => ({ ...opened(row), source: row.source }));
}

/** Each lane is a short walk along the index by door. */
export async function readingsOfLanes(client: Client, places: readonly LanePlace[], limit: number) {
  const { rows } = await client.query<ReadingRow & { door: string }>({
    name: 'readings-of-lanes',
    text: `select r.seq, r.door, r.source, r.body from unnest($1::text[], $2::bigint[]) as l (door, place) cross join lateral
       (select seq, door, source, body from reading where door = l.door and seq > l.place order by seq limit $3) as r
     order by r.seq limit $3`,
    values: [places.map(({ lane }) => storable(lane)), places.map(({ seq }) => seq), limit],
  });
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
  const { rows } = await client.query<ReadingRow>({
    name: 'readings-latest',
    text: `select r.seq, r.body from unnest($1::text[]) as t (terminal) cross join lateral
       (select seq, taken_at_us, body from reading where reading.terminal = t.terminal and seq <= $2
        order by taken_at_us desc, seq desc limit $3) as r
     order by r.taken_at_us desc, r.seq desc`,
    values: [[...new Set(terminals)].map(storable), upToSeq, perTerminal],
  });
  return rows.map(opened);
}

export async function turnedAside(client: Client, terminals: readonly string[]): Promise<string[]> {
  const { rows } = await client.query<{ body: string }>({
    name: 'readings-turned-aside',
    text: `select r.body from unnest($1::text[]) as t (terminal) cross join lateral
       (select body from rejection where rejection.terminal = t.terminal and stage = 'screen'
        order by at_us desc, seq desc limit $2) as r`,
    values: [[...new Set(terminals)].map(storable), REJECTIONS_LOOKED_AT],
  });
  return rows.flatMap(({ body }) => (JSON.parse(body) as Rejection).from);
}

export async function readingsBetween(client: Client, terminal: string, fromUs: number, toUs: number, limit: number) {
  const { rows } = await client.query<ReadingRow>(
    'select seq, body from reading where terminal = $1 and taken_at_us between $2 and $3 order by taken_at_us, seq limit $4',
    [storable(terminal), fromUs, toUs, limit],
  );
  return rows.map(opened);
}

const opened = ({ seq, body }: ReadingRow) => ({ seq, reading: JSON.parse(body) as Reading });
