/**
 * Old readings are summed up by day and let go, a batch in one transaction. What a finding that holds, an open alert or a delivery that
 * waits rests on stays, directly or through other findings, until nothing rests on it any more.
 */

import { type DaySummary, keyOfDay, mergeDays, summariseDays } from '../../../lib/day-summary';
import { formatInstant } from '../../../lib/instant';
import type { Reading } from '../../../lib/records';
import { linkLetGo } from './chain-let-go';
import { ask, insertAll, type RetentionWords, type Row, type Steps } from './question';

export interface LetGoOrder {
  /** readings taken before are old, microseconds since 1970 */
  readonly beforeUs: number;
  readonly nowUs: number;
  /** on whose behalf, for the chain */
  readonly by: string;
  readonly limit: number;
}

export interface LetGone {
  readonly letGo: number;
  /** readings that stay because something rests on them, of those looked at now */
  readonly held: number;
  /** there may be more */
  readonly more: boolean;
}

/**
 * Old readings that were never looked at. What the chain does not cover yet was admitted a moment ago; what its door has not sent into the
 * flow yet nobody has judged: both stay.
 */
export function* letGoOld(words: RetentionWords, order: LetGoOrder): Steps<LetGone> {
  const old = yield* ask(
    `select seq, id, taken_at_us, body from reading where taken_at_us < $1 and received_at_us < $1
       and seq <= (select coalesce(max(reading_to), 0) from chain_link)
       and (door = '' or exists (select 1 from place where place.name = 'sent:' || reading.door and place.seq >= reading.seq))
       and not exists (select 1 from reading_held where reading_held.id = reading.id) order by taken_at_us, seq limit $2`,
    order.beforeUs,
    order.limit,
  );
  if (old.length === 0) return { letGo: 0, held: 0, more: false };
  const needed = yield* restedOn(words, old.map(idOf));
  yield* addToDays(words, summariseDays(old.map(({ body }) => JSON.parse(body as string) as Reading)));
  const [held, free] = parted(old, needed);
  yield* insertAll(
    'reading_held (id, seq, taken_at_us)',
    held.map((row) => [row.id!, row.seq!, row.taken_at_us!]),
  );
  yield* remove(words, free, order, held.length);
  return { letGo: free.length, held: held.length, more: old.length === order.limit };
}

/** Readings held back before, from a place on: those on which nothing rests now. */
export function* letGoHeld(
  words: RetentionWords,
  order: LetGoOrder,
  afterSeq: number,
): Steps<LetGone & { last: number }> {
  const rows = yield* ask(
    'select seq, id, taken_at_us from reading_held where seq > $1 order by seq limit $2',
    afterSeq,
    order.limit,
  );
  const [held, free] = parted(rows, yield* restedOn(words, rows.map(idOf)));
  yield* remove(words, free, order, held.length);
  if (free.length > 0)
    yield* ask(`delete from reading_held where id in (${words.texts(1)})`, JSON.stringify(free.map(idOf)));
  const last = rows.length > 0 ? Number(rows.at(-1)!.seq) : afterSeq;
  return { letGo: free.length, held: held.length, more: rows.length === order.limit, last };
}

function* remove(words: RetentionWords, free: readonly Row[], order: LetGoOrder, held: number): Steps<void> {
  if (free.length === 0) return;
  const times = free.map((row) => Number(row.taken_at_us));
  yield* ask(
    `delete from reading where id in (${words.texts(1)}) and taken_at_us between $2 and $3`,
    JSON.stringify(free.map(idOf)),
    Math.min(...times),
    Math.max(...times),
  );
  yield* ask("update tally set amount = amount - $1 where name = 'reading'", free.length);
  const seqs = free.map((row) => Number(row.seq));
  const said = { by: order.by, takenBefore: formatInstant(order.beforeUs), readings: free.length, held };
  yield* linkLetGo(seqs, said, order.nowUs);
}

/** Those among readings that something current rests on, directly or through findings. */
function* restedOn(words: RetentionWords, ids: readonly string[]): Steps<ReadonlySet<string>> {
  const rows = yield* ask(
    `with recursive needed (id) as (${words.restsOn('alert', "state <> 'normal'")} union ${words.restsOn('delivery', "state = 'waiting'")}),
     above (reading, id, holds) as (
       select value, value, false from (${words.texts(1)}) as t
       union select above.reading, finding.id, finding.superseded_by is null from above
         join finding_source on source_id = above.id join finding on finding.seq = finding_seq)
     select distinct reading as id from above where holds or id in (select id from needed)`,
    JSON.stringify(ids),
  );
  return new Set(rows.map(idOf));
}

function* addToDays(words: RetentionWords, days: readonly DaySummary[]): Steps<void> {
  const known = yield* ask(
    `select body from reading_day where terminal in (${words.texts(1)}) and day in (${words.texts(2)})`,
    JSON.stringify([...new Set(days.map((d) => d.terminal))]),
    JSON.stringify([...new Set(days.map((d) => d.day))]),
  );
  const before = new Map(
    known.map(({ body }) => JSON.parse(body as string) as DaySummary).map((d) => [keyOfDay(d), d]),
  );
  const rows = days.map((day) => {
    const earlier = before.get(keyOfDay(day));
    const now = earlier ? mergeDays(earlier, day) : day;
    return [now.terminal, now.day, now.against, now.readings, JSON.stringify(now)];
  });
  yield* insertAll(
    'reading_day (terminal, day, against, readings, body)',
    rows,
    'on conflict (terminal, day, against) do update set readings = excluded.readings, body = excluded.body',
  );
}

function parted(rows: readonly Row[], needed: ReadonlySet<string>): [held: Row[], free: Row[]] {
  return [rows.filter((row) => needed.has(idOf(row))), rows.filter((row) => !needed.has(idOf(row)))];
}

const idOf = (row: Row): string => row.id as string;
