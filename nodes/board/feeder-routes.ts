/** Whole feeders: what the evidence says of each section, what people decide about it, and where to read next. */
import type { Correction } from '../../lib/records';
import type { FeederWindow } from '../feeder-trace/window';
import { Trouble } from '../kit/trouble';
import type { Board } from './board';
import { neighbours } from './neighbours';
import { type Answer, type Asked, parameter, type Route, whole } from './route';

export const feederRoutes: readonly Route[] = [
  { method: 'GET', path: 'api/feeders', answer: feeders },
  { method: 'GET', path: 'api/feeder', answer: feeder },
  { method: 'GET', path: 'api/feeder/section', answer: section },
  { method: 'GET', path: 'api/feeder/day', answer: day },
  { method: 'POST', path: 'api/feeder/decide', answer: decide },
  { method: 'GET', path: 'api/feeder/file', answer: file },
];

const MOST_DECISIONS = 10_000;

const windows = (board: Board): readonly FeederWindow[] =>
  neighbours<{ window: FeederWindow }>(board, 'phaseloom-feeder-trace', 'window').map((n) => n.window);

/** @throws Trouble 'config' when no node traces it */
function windowOn(board: Board, feeder: string): FeederWindow {
  const found = windows(board).find((w) => w.feeders.some((f) => f.id === feeder));
  if (found) return found;
  throw new Trouble(
    'config',
    `no node "feeder trace" on the ledger of this board traces the feeder ${JSON.stringify(feeder)}: put one into a flow`,
  );
}

/** Those that a node traces; none is no trouble: the page then shows sites only. */
function feeders({ board }: Asked) {
  return { body: { feeders: windows(board).flatMap((w) => w.feeders) } };
}

async function feeder({ board, query }: Asked) {
  const id = parameter(query, 'id');
  const window = windowOn(board, id);
  const [shown, { records }] = await Promise.all([
    window.look(id),
    (await board.ledger()).records({
      kinds: ['correction'],
      subject: id,
      limit: MOST_DECISIONS,
      order: 'newest-first',
    }),
  ]);
  return { body: { ...shown, formats: window.formats, decisions: records as readonly Correction[] } };
}

async function section({ board, query }: Asked) {
  const id = parameter(query, 'feeder');
  return { body: await windowOn(board, id).section(id, parameter(query, 'section')) };
}

async function day({ board, query }: Asked) {
  const id = parameter(query, 'feeder');
  return { body: { visits: await windowOn(board, id).day(id, whole(query, 'visits', 10, 100)) } };
}

async function decide({ board, body }: Asked) {
  const request = (body ?? {}) as Readonly<Record<string, unknown>>;
  const decisions = await windowOn(board, String(request.feeder)).decide(request);
  return { body: { decisions } };
}

async function file({ board, query }: Asked): Promise<Answer> {
  const id = parameter(query, 'feeder');
  const asked = { format: parameter(query, 'format'), acceptedOnly: query.get('acceptedOnly') === 'true' };
  const { payload, filename, contentType } = await windowOn(board, id).file(id, asked);
  const name = filename.replace(/[^\w.-]+/g, '-');
  return {
    headers: { 'content-type': contentType, 'content-disposition': `attachment; filename="${name}"` },
    body: payload,
  };
}
