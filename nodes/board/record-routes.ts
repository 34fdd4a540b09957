/** Records by what they are about and when, and one record with all it rests on. */
import { type Kind, type PhaseloomRecord, schemas } from '../../lib/records';
import { Trouble } from '../kit/trouble';
import { csvOf } from '../ledger/csv';
import { geojsonOf } from '../ledger/geojson';
import type { Ledger, RecordQuery } from '../ledger/ledger';
import { parquetOf } from '../ledger/parquet';
import { readQuestion } from '../ledger/question';
import { type Answer, type Asked, parameter, type Route } from './route';

export const recordRoutes: readonly Route[] = [
  { method: 'GET', path: 'api/records', answer: records },
  { method: 'GET', path: 'api/records/count', answer: count },
  { method: 'GET', path: 'api/record', answer: one },
  { method: 'GET', path: 'api/records/file', answer: file },
];

const PAGE = 200;
/** records shown below one; a feeder trace may rest on more */
const MOST_BELOW = 2000;

async function records({ board, query }: Asked) {
  const { query: asked, limit } = readQuestion('records', questionOf(query), PAGE);
  return { body: await (await board.ledger()).records({ ...asked, limit: Math.min(limit, 10_000) }) };
}

async function count({ board, query }: Asked) {
  const { query: asked } = readQuestion('records', questionOf(query), PAGE);
  const counts = await (await board.ledger()).count(asked);
  return { body: { count: [...counts.values()].reduce((a, b) => a + b, 0) } };
}

/** The question in a query string: kinds=a,b&subject=...&currentOnly=true&limit=50. */
export function questionOf(query: URLSearchParams): Record<string, unknown> {
  const asked: Record<string, unknown> = {};
  for (const [name, value] of query) {
    if (value === '') continue;
    if (name === 'kinds' || name === 'ids') asked[name] = value.split(',');
    else if (name === 'currentOnly') asked[name] = value === 'true' ? true : value === 'false' ? false : value;
    else asked[name] = name === 'limit' ? Number(value) : value;
  }
  return asked;
}

async function one({ board, query }: Asked) {
  const ledger = await board.ledger();
  const id = parameter(query, 'id');
  const [record] = await byIds(ledger, [id]);
  if (!record) throw new Trouble('not-found', `the ledger holds no record ${id}`);
  return { body: { record, restsOn: await below(ledger, record) } };
}

/** Everything a record rests on, directly or through others, nearest first. */
async function below(ledger: Ledger, record: PhaseloomRecord): Promise<PhaseloomRecord[]> {
  const seen = new Set([record.id]);
  const found: PhaseloomRecord[] = [];
  let next = sourcesOf(record);
  while (next.length > 0 && found.length < MOST_BELOW) {
    for (const id of next) seen.add(id);
    const records = await byIds(ledger, next);
    found.push(...records);
    next = [...new Set(records.flatMap(sourcesOf))].filter((id) => !seen.has(id));
  }
  return found;
}

const sourcesOf = (record: PhaseloomRecord): readonly string[] => ('from' in record ? record.from : []);

async function byIds(ledger: Ledger, ids: readonly string[]): Promise<readonly PhaseloomRecord[]> {
  return (await ledger.records({ ids, limit: MOST_BELOW })).records;
}

/** records in one file; more are asked for in several, by time */
const MOST_IN_FILE = 100_000;

/** The same question, answered as a file: format=csv, parquet or geojson. */
async function file({ board, query }: Asked): Promise<Answer> {
  const asked = new URLSearchParams(query);
  const format = parameter(asked, 'format');
  asked.delete('format');
  const question = readQuestion('records', questionOf(asked), MOST_IN_FILE).query;
  const ledger = await board.ledger();
  const records = await all(ledger, question);
  const kinds = question.kinds ?? (Object.keys(schemas) as Kind[]);
  const { type, body } = await written(format, ledger, records, kinds);
  const headers = { 'content-type': type, 'content-disposition': `attachment; filename="records.${format}"` };
  return { headers, body };
}

async function written(
  format: string,
  ledger: Ledger,
  records: readonly PhaseloomRecord[],
  kinds: readonly Kind[],
): Promise<{ type: string; body: string | Buffer }> {
  if (format === 'csv') return { type: 'text/csv; charset=utf-8', body: csvOf(records, kinds) };
  if (format === 'parquet') return { type: 'application/vnd.apache.parquet', body: parquetOf(records, kinds) };
  if (format === 'geojson')
    return { type: 'application/geo+json', body: JSON.stringify(await geojsonOf(ledger, records)) };
  throw new Trouble(
    'parameter-unusable',
    `format is ${JSON.stringify(format)}; right would be csv, parquet or geojson`,
  );
}

/** @throws Trouble when there are more than go into one file */
async function all(ledger: Ledger, query: RecordQuery): Promise<readonly PhaseloomRecord[]> {
  const records: PhaseloomRecord[] = [];
  let after = query.after;
  do {
    const page = await ledger.records({ ...query, limit: 10_000, ...(after === undefined ? {} : { after }) });
    records.push(...page.records);
    after = page.next;
    if (records.length > MOST_IN_FILE || (after !== undefined && records.length === MOST_IN_FILE)) {
      throw new Trouble('too-many', `more than ${MOST_IN_FILE} records fit; ask for a shorter time or one place`);
    }
  } while (after !== undefined);
  return records;
}
