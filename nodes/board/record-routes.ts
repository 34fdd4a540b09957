/** Records by what they are about and when, and one record with all it rests on. */
import type { PhaseloomRecord } from '../../lib/records';
import { Trouble } from '../kit/trouble';
import type { Ledger } from '../ledger/ledger';
import { readQuestion } from '../ledger/question';
import { type Asked, parameter, type Route } from './route';

export const recordRoutes: readonly Route[] = [
  { method: 'GET', path: 'api/records', answer: records },
  { method: 'GET', path: 'api/record', answer: one },
];

const PAGE = 200;
/** records shown below one; a feeder trace may rest on more */
const MOST_BELOW = 2000;

async function records({ board, query }: Asked) {
  const { query: asked, limit } = readQuestion('records', questionOf(query), PAGE);
  return { body: await (await board.ledger()).records({ ...asked, limit: Math.min(limit, 10_000) }) };
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
