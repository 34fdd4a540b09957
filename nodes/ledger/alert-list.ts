/** The alerts in the order in which somebody should see them, a stretch at a time: there may be thousands. For both drivers. */
import { type Kysely, sql } from 'kysely';
import type { Alert, AlertState, Priority } from '../../lib/records';
import type { AlertList, AlertListQuery } from './ledger';
import type { LedgerTables } from './schema';

/** Those that call somebody first, those that need nobody last. */
const STATES: readonly AlertState[] = [
  'unacknowledged',
  'returned-unacknowledged',
  'acknowledged',
  'shelved',
  'suppressed-by-design',
  'out-of-service',
  'normal',
];
const CALLING: readonly AlertState[] = ['unacknowledged', 'returned-unacknowledged'];
const PRIORITIES: readonly Priority[] = ['high', 'medium', 'low'];

interface Row {
  readonly place: number;
  readonly key: string;
  readonly body: string | Alert;
}

export async function listAlerts(db: Kysely<LedgerTables>, query: AlertListQuery): Promise<AlertList> {
  const { offset, limit, key = '', openOnly } = query;
  const wanted = openOnly ? sql`state <> 'normal'` : sql`true`;
  const order = sql`${rank('state', STATES)}, ${rank('priority', PRIORITIES)}, body ->> 'since' desc, key`;
  const { rows } = await sql<Row>`with ranked as
    (select key, row_number() over (order by ${order}) - 1 as place from alert where ${wanted})
    select place, alert.key as key, body from ranked join alert on alert.key = ranked.key
    where (place >= ${offset} and place < ${offset + limit}) or alert.key = ${key} order by place`.execute(db);
  const counted = await sql<{ count: number; calling: number }>`select count(*) as count,
    coalesce(sum(case when state in (${sql.join(CALLING)}) then 1 else 0 end), 0) as calling
    from alert where ${wanted}`.execute(db);
  const found = rows.map((row) => ({ place: Number(row.place), alert: opened(row.body) }));
  const { count, calling } = counted.rows[0]!;
  return {
    alerts: found.filter(({ place }) => place >= offset && place < offset + limit).map(({ alert }) => alert),
    count: Number(count),
    calling: Number(calling),
    named: found.find(({ alert }) => alert.key === key) ?? null,
  };
}

function rank(column: string, order: readonly string[]) {
  const places = order.map((value, place) => sql`when ${sql.lit(value)} then ${sql.lit(place)}`);
  return sql`case ${sql.ref(column)} ${sql.join(places, sql` `)} end`;
}

const opened = (body: string | Alert): Alert => (typeof body === 'string' ? (JSON.parse(body) as Alert) : body);
