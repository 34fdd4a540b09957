/** Records by what they are, what they are about and when: one question over four tables, answered page by page. For both drivers. */
import { type Kysely, type RawBuilder, sql } from 'kysely';
import type { Kind, PhaseloomRecord } from '../../lib/records';
import { Trouble } from '../kit/trouble';
import type { RecordPage, RecordQuery } from './ledger';
import { type PageKey, readPageKey, writePageKey } from './page-key';
import type { LedgerTables } from './schema';

const DEFAULT_LIMIT = 1000;
const LARGEST_LIMIT = 10_000;
const MOST_IDS = 1000;

type Condition = RawBuilder<unknown>;

/** A table that holds records, and how it answers each part of a query; `null`: nothing in it can fit. */
interface Shelf {
  readonly table: keyof LedgerTables;
  readonly time: string;
  readonly holds: (kind: Kind) => boolean;
  readonly subject: string;
  /** what the query asks of this table alone */
  readonly own: (query: RecordQuery) => (Condition | null)[];
}

interface Row {
  readonly at_us: number;
  readonly seq: number;
  readonly body: string | PhaseloomRecord;
}

const PLAIN: readonly Kind[] = ['reading', 'rejection', 'alert'];

/** In this order stand records of the same instant. */
const SHELVES: readonly Shelf[] = [
  {
    table: 'reading',
    time: 'taken_at_us',
    holds: (kind) => kind === 'reading',
    subject: 'terminal',
    own: ({ instrument, by }) => [
      ...given(instrument, (v) => sql`instrument = ${v}`),
      ...given(by, (v) => sql`taken_by = ${v}`),
    ],
  },
  {
    table: 'rejection',
    time: 'at_us',
    holds: (kind) => kind === 'rejection',
    subject: 'terminal',
    own: ({ instrument, by }) => (instrument === undefined && by === undefined ? [] : [null]),
  },
  {
    table: 'finding',
    time: 'at_us',
    holds: (kind) => !PLAIN.includes(kind),
    subject: 'subject',
    own: (query) => [
      ...given(query.kinds, (kinds) => sql`kind in (${sql.join([...kinds])})`),
      ...given(query.instrument, (v) => restsOn(sql`reading.instrument = ${v}`)),
      ...given(query.by, (v) => restsOn(sql`reading.taken_by = ${v}`)),
      ...(query.currentOnly ? [sql`superseded_by is null`] : []),
    ],
  },
  {
    table: 'alert_transition',
    time: 'at_us',
    holds: (kind) => kind === 'alert',
    subject: 'subject',
    own: ({ instrument, by, currentOnly }) => [
      ...(instrument === undefined ? [] : [null]),
      ...given(by, (v) => sql`made_by = ${v}`),
      ...(currentOnly ? [sql`(key, revision) in (select key, revision from alert)`] : []),
    ],
  },
];

export async function findRecords(db: Kysely<LedgerTables>, query: RecordQuery): Promise<RecordPage> {
  const limit = checkedLimit(query.limit);
  const newestFirst = query.order === 'newest-first';
  const after = query.after === undefined ? undefined : readPageKey(query.after);
  const found: { key: PageKey; body: Row['body'] }[] = [];
  for (const [rank, shelf] of SHELVES.entries()) {
    const conditions = conditionsOf(shelf, query);
    if (!conditions) continue;
    if (after) conditions.push(past(shelf, rank, after, newestFirst));
    const way = newestFirst ? sql`desc` : sql`asc`;
    const time = sql.ref(shelf.time);
    const { rows } = await sql<Row>`select ${time} as at_us, seq, body from ${sql.table(shelf.table)}
      where ${sql.join(conditions, sql` and `)} order by ${time} ${way}, seq ${way} limit ${limit + 1}`.execute(db);
    for (const { at_us: atUs, seq, body } of rows) found.push({ key: { atUs, rank, seq }, body });
  }
  found.sort((a, b) => (newestFirst ? compare(b.key, a.key) : compare(a.key, b.key)));
  const page = found.slice(0, limit);
  const records = page.map(({ body }) => (typeof body === 'string' ? JSON.parse(body) : body) as PhaseloomRecord);
  return found.length > limit ? { records, next: writePageKey(page.at(-1)!.key) } : { records };
}

export async function countRecords(db: Kysely<LedgerTables>, query: RecordQuery): Promise<ReadonlyMap<Kind, number>> {
  const counts = new Map<Kind, number>();
  for (const shelf of SHELVES) {
    const conditions = conditionsOf(shelf, query);
    if (!conditions) continue;
    const kind =
      shelf.table === 'finding' ? sql.ref('kind') : sql.lit(shelf.table === 'alert_transition' ? 'alert' : shelf.table);
    const { rows } = await sql<{
      kind: Kind;
      n: number;
    }>`select ${kind} as kind, count(*) as n from ${sql.table(shelf.table)}
      where ${sql.join(conditions, sql` and `)} group by 1`.execute(db);
    for (const row of rows) counts.set(row.kind, Number(row.n));
  }
  return counts;
}

/** undefined: this shelf holds nothing that could fit. */
function conditionsOf(shelf: Shelf, query: RecordQuery): Condition[] | undefined {
  const { kinds, currentOnly, ids = [] } = query;
  const wanted = kinds ? kinds.some(shelf.holds) : !currentOnly || !['reading', 'rejection'].includes(shelf.table);
  if (!wanted) return undefined;
  if (ids.length > MOST_IDS) throw unusable('ids', `names ${ids.length} records`, `at most ${MOST_IDS} ids at a time`);
  const time = sql.ref(shelf.time);
  const conditions = [
    sql`true`,
    ...given(query.ids, (v) => (v.length === 0 ? null : sql`id in (${sql.join([...v])})`)),
    ...given(query.subject, (v) => aboutSubject(shelf.subject, v)),
    ...given(query.fromUs, (v) => sql`${time} >= ${v}`),
    ...given(query.toUs, (v) => sql`${time} <= ${v}`),
    ...shelf.own(query),
  ];
  return conditions.includes(null) ? undefined : (conditions as Condition[]);
}

function given<T, C>(value: T | undefined, condition: (value: T) => C): C[] {
  return value === undefined ? [] : [condition(value)];
}

/** A prefix is a range of texts, which an index can answer: '0' comes right after '/'. */
function aboutSubject(column: string, subject: string): Condition {
  const ref = sql.ref(column);
  if (!subject.endsWith('/')) return sql`${ref} = ${subject}`;
  return sql`${ref} >= ${subject} and ${ref} < ${`${subject.slice(0, -1)}0`}`;
}

const restsOn = (reading: Condition): Condition => sql`exists (select 1 from finding_source
  join reading on reading.id = finding_source.source_id where finding_source.finding_seq = finding.seq and ${reading})`;

/** Past the key in the order (time, rank of the shelf, seq), or before it when the newest come first. */
function past(shelf: Shelf, rank: number, key: PageKey, newestFirst: boolean): Condition {
  const time = sql.ref(shelf.time);
  const onward = sql.raw(newestFirst ? '<' : '>');
  // The time by itself as well: by it whole partitions are passed over.
  if (rank === key.rank)
    return sql`${time} ${onward}= ${key.atUs} and (${time}, seq) ${onward} (${key.atUs}, ${key.seq})`;
  const sameInstantCounts = newestFirst ? rank < key.rank : rank > key.rank;
  return sameInstantCounts ? sql`${time} ${onward}= ${key.atUs}` : sql`${time} ${onward} ${key.atUs}`;
}

const compare = (a: PageKey, b: PageKey): number => a.atUs - b.atUs || a.rank - b.rank || a.seq - b.seq;

function checkedLimit(limit = DEFAULT_LIMIT): number {
  if (Number.isInteger(limit) && limit >= 1 && limit <= LARGEST_LIMIT) return limit;
  throw unusable('limit', `is ${JSON.stringify(limit)}`, `a whole number from 1 to ${LARGEST_LIMIT}`);
}

const unusable = (where: string, what: string, right: string) =>
  new Trouble('query-unusable', `query.${where} ${what}; right would be ${right}`);
