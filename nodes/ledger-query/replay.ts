/**
 * Stored readings sent into the flow again, as the front door sent them: in the order of storing, each with its place in the ledger. What a
 * corrected frame or reference makes of them supersedes what was found before; both stay. The order itself is a record. Readings that
 * come while it goes on are judged anyway, and not sent again.
 */
import { derivedId } from '../../lib/derived-id';
import { formatInstant } from '../../lib/instant';
import { takenAtUs } from '../../lib/reading';
import type { Reading, Replay } from '../../lib/records';
import type { Ledger, RecordQuery, StoredReading } from '../ledger/ledger';
import type { Piece } from './answer';

export interface ReplayOrder {
  readonly by: string;
  readonly why: string;
}

const PAGE = 500;
/** Records waiting to be committed past which the next page waits too. */
const MOST_PENDING = 1000;

export async function* replayed(
  ledger: Ledger,
  order: ReplayOrder,
  asked: RecordQuery,
  nowUs: number,
): AsyncGenerator<Piece> {
  const upTo = await ledger.head();
  const record = await ordered(ledger, order, asked, nowUs);
  for (let after = 0; after < upTo; ) {
    const page = await ledger.readingsAfter(after, PAGE);
    for (const stored of page) if (stored.seq <= upTo && fits(stored.reading, asked)) yield piece(stored, record);
    if (page.length < PAGE) return;
    after = page.at(-1)!.seq;
    while ((await ledger.health()).pending > MOST_PENDING) await new Promise((r) => setTimeout(r, 20));
  }
}

async function ordered(ledger: Ledger, order: ReplayOrder, asked: RecordQuery, nowUs: number): Promise<Replay> {
  const { subject = '/', instrument, fromUs, toUs } = asked;
  const counted = await ledger.count({ ...asked, kinds: ['reading'] });
  const said = {
    kind: 'replay' as const,
    at: formatInstant(nowUs),
    from: [],
    subject,
    ...order,
    ...(instrument === undefined ? {} : { instrumentId: instrument }),
    ...(fromUs === undefined ? {} : { fromInstant: formatInstant(fromUs) }),
    ...(toUs === undefined ? {} : { toInstant: formatInstant(toUs) }),
    readings: counted.get('reading') ?? 0,
  };
  const record: Replay = { ...said, id: derivedId('replay', said) };
  await ledger.keep(record);
  return record;
}

/** As the ledger answers a query: exact, or a path prefix ending in '/'. */
function fits(reading: Reading, { subject, instrument, fromUs, toUs }: RecordQuery): boolean {
  const us = takenAtUs(reading);
  if (us < (fromUs ?? Number.NEGATIVE_INFINITY) || us > (toUs ?? Number.POSITIVE_INFINITY)) return false;
  if (instrument !== undefined && reading.instrument?.id !== instrument) return false;
  if (subject === undefined) return true;
  return subject.endsWith('/') ? reading.terminal.startsWith(subject) : reading.terminal === subject;
}

const piece = ({ seq, reading, source }: StoredReading, record: Replay): Piece => ({
  payload: reading,
  count: 1,
  marks: { reading, topic: source ?? '', phaseloom: { seq, replay: record.id } },
});
