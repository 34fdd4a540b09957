/** The answer of the ledger as what leaves the node: everything at once, a page or a record at a time, a file, or counts. */
import { type Kind, type PhaseloomRecord, type Reading, schemas } from '../../lib/records';
import { Trouble } from '../kit/trouble';
import { csvOf } from '../ledger/csv';
import { geojsonOf } from '../ledger/geojson';
import type { Ledger } from '../ledger/ledger';
import { parquetOf } from '../ledger/parquet';
import type { Question } from '../ledger/question';
import { replayed } from './replay';
import type { Settings } from './settings';

/** One message. */
export interface Piece {
  readonly payload: unknown;
  /** records in it */
  readonly count: number;
  /** the key with which to go on asking, when there is more than was wanted */
  readonly next?: string;
  /** members of the message of a reading sent again */
  readonly marks?: { readonly reading: Reading; readonly topic: string; readonly phaseloom: object };
  /** place in the sequence, as core's split and join nodes have it; `count` only in the last one */
  readonly parts?: { id: string; type: 'array'; index: number; len: number; count?: number };
}

interface Page {
  readonly records: readonly PhaseloomRecord[];
  readonly next?: string;
  readonly isLast: boolean;
}

const MOST_AT_ONCE = 1_000_000;
const PAGE = 1000;

export async function* answer(
  ledger: Ledger,
  question: Question,
  settings: Settings,
  sequenceId: string,
): AsyncGenerator<Piece> {
  const { what, output, pageSize } = settings;
  if (what === 'replay') yield* replayed(ledger, question.order!, question.query, Date.now() * 1000);
  else if (what === 'verify') yield await verified(ledger, question);
  else if (what === 'count') yield counts(await ledger.count(question.query));
  else if (output === 'each' || output === 'pages') {
    yield* sequence(
      pagesOf(ledger, question, pageSize),
      sequenceId,
      output === 'each' ? 1 : pageSize,
      output === 'each',
    );
  } else yield await whole(ledger, question, settings);
}

async function verified(ledger: Ledger, { known }: Question): Promise<Piece> {
  const payload = await ledger.verify(known);
  return { payload, count: payload.records };
}

function counts(byKind: ReadonlyMap<Kind, number>): Piece {
  return { payload: Object.fromEntries(byKind), count: [...byKind.values()].reduce((sum, n) => sum + n, 0) };
}

async function whole(ledger: Ledger, question: Question, { output }: Settings): Promise<Piece> {
  if (question.limit > MOST_AT_ONCE) {
    throw new Trouble(
      'query-unusable',
      `query.limit is ${question.limit}; right would be at most ${MOST_AT_ONCE} in one message, or pages`,
    );
  }
  const records: PhaseloomRecord[] = [];
  let next: string | undefined;
  for await (const page of pagesOf(ledger, question, PAGE)) {
    for (const record of page.records) records.push(record);
    next = page.next;
  }
  const kinds = question.query.kinds ?? (Object.keys(schemas) as Kind[]);
  const payload = await written(ledger, records, kinds, output);
  return { payload, count: records.length, ...(next === undefined ? {} : { next }) };
}

function written(
  ledger: Ledger,
  records: readonly PhaseloomRecord[],
  kinds: readonly Kind[],
  output: Settings['output'],
): unknown {
  if (output === 'csv') return csvOf(records, kinds);
  if (output === 'parquet') return parquetOf(records, kinds);
  return output === 'geojson' ? geojsonOf(ledger, records) : records;
}

/** Each piece is held back until the next is known, since the last one tells how many there were. */
async function* sequence(pages: AsyncGenerator<Page>, id: string, len: number, each: boolean): AsyncGenerator<Piece> {
  let held: Piece | undefined;
  let index = 0;
  for await (const { records, isLast, next } of pages) {
    const emptyAnswer = isLast && index === 0 && !each;
    const payloads = each ? records : records.length > 0 || emptyAnswer ? [records] : [];
    for (const payload of payloads) {
      if (held) yield held;
      const count = each ? 1 : records.length;
      held = { payload, count, parts: { id, type: 'array', index: index++, len } };
    }
    if (isLast && held) {
      const parts = { ...held.parts!, count: index };
      yield { ...held, parts, ...(next === undefined ? {} : { next }) };
    }
  }
}

async function* pagesOf(ledger: Ledger, { query, limit, wants }: Question, pageSize: number): AsyncGenerator<Page> {
  let left = limit;
  let { after } = query;
  for (;;) {
    const asked = { ...query, limit: Math.min(left, pageSize), ...(after === undefined ? {} : { after }) };
    const { records, next } = await ledger.records(asked);
    const wanted = wants ? records.filter(wants) : records;
    left -= wanted.length;
    after = next;
    const isLast = next === undefined || left === 0;
    yield { records: wanted, isLast, ...(next === undefined ? {} : { next }) };
    if (isLast) return;
  }
}
