/**
 * Readings, rejections and findings lie in partitions by the time they speak of. The ledger makes them ahead; what fits none lies in
 * the default partition, so nothing is refused for its time. A stretch that fills up there gets a partition of its own.
 */
import { openSpans, type Span, type Stretch, stretchAround } from './calendar';
import type { Client } from './connection';

export const PARTITIONED = [
  { table: 'reading', time: 'taken_at_us' },
  { table: 'rejection', time: 'at_us' },
  { table: 'finding', time: 'at_us' },
] as const;
export type Partitioned = (typeof PARTITIONED)[number];

export interface Partition extends Span {
  readonly name: string;
}

/** Stretches made ahead, the present one not counted. */
const AHEAD = 2;
/** Rows of one stretch in the default partition before it gets a partition of its own. */
const MANY = 10_000;
const DAY_US = 86_400e6;

export async function makePartitions(client: Client, stretch: Stretch, nowUs: number, many = MANY): Promise<void> {
  for (const partitioned of PARTITIONED) {
    const taken = await partitionsOf(client, partitioned.table);
    const missing = openSpans(spanAhead(stretch, nowUs), stretch, taken);
    const crowded = await crowdedSpans(client, partitioned, stretch, many);
    const wanted = [...missing, ...crowded.flatMap((span) => openSpans(span, stretch, [...taken, ...missing]))];
    for (const span of wanted) await makePartition(client, partitioned, span);
  }
}

/** The partitions with bounds, oldest first: the default one is not among them. */
export async function partitionsOf(client: Client, table: string): Promise<Partition[]> {
  const { rows } = await client.query<{ name: string; bounds: string }>(
    `select c.relname as name, pg_get_expr(c.relpartbound, c.oid) as bounds from pg_inherits join pg_class as c on c.oid = inhrelid
     where inhparent = to_regclass($1)`,
    [table],
  );
  return rows
    .flatMap(({ name, bounds }) => {
      const [, from, to] = /FROM \('?(-?\d+)'?\) TO \('?(-?\d+)'?\)/.exec(bounds) ?? [];
      return from === undefined ? [] : [{ name, fromUs: Number(from), toUs: Number(to) }];
    })
    .sort((a, b) => a.fromUs - b.fromUs);
}

/** What lies in the default partition and belongs to the span moves along. */
async function makePartition(client: Client, { table, time }: Partitioned, { fromUs, toUs }: Span): Promise<void> {
  const name = `${table}_${new Date(fromUs / 1000).toISOString().slice(0, 10).replaceAll('-', '')}`;
  await client.query(`create table ${name} (like ${table} including defaults including constraints)`);
  await client.query(
    `with moved as (delete from ${table}_default where ${time} >= $1 and ${time} < $2 returning *)
     insert into ${name} select * from moved`,
    [fromUs, toUs],
  );
  await client.query(`alter table ${table} attach partition ${name} for values from (${fromUs}) to (${toUs})`);
}

function spanAhead(stretch: Stretch, nowUs: number): Span {
  const { fromUs, toUs } = stretchAround(nowUs, stretch);
  let end = toUs;
  for (let i = 0; i < AHEAD; i++) end = stretchAround(end, stretch).toUs;
  return { fromUs, toUs: end };
}

async function crowdedSpans(client: Client, { table, time }: Partitioned, stretch: Stretch, many: number) {
  const { rows } = await client.query<{ day: number; n: number }>(
    `select (${time} / ${DAY_US})::bigint as day, count(*) as n from ${table}_default group by 1`,
  );
  const spans = new Map<number, { span: Span; n: number }>();
  for (const { day, n } of rows) {
    const span = stretchAround(day * DAY_US, stretch);
    spans.set(span.fromUs, { span, n: n + (spans.get(span.fromUs)?.n ?? 0) });
  }
  return [...spans.values()].filter((s) => s.n >= many).map((s) => s.span);
}
