/** Alerts, their history, and what people do to them. */
import { Trouble } from '../kit/trouble';
import { type Asked, parameter, type Route, whole } from './route';

export const alertRoutes: readonly Route[] = [
  { method: 'GET', path: 'api/alerts', answer: alerts },
  { method: 'GET', path: 'api/alerts/history', answer: history },
  { method: 'POST', path: 'api/alerts/act', answer: act },
];

const PAGE = 200;
const MOST = 1000;

/** Open ones, a stretch at a time; with all=true those that are normal again as well. `key` names one that is wanted whatever its place. */
async function alerts({ board, query }: Asked) {
  const ledger = await board.ledger();
  const key = query.get('key');
  const list = await ledger.alertList({
    openOnly: query.get('all') !== 'true',
    offset: whole(query, 'offset', 0, Number.MAX_SAFE_INTEGER),
    limit: whole(query, 'limit', PAGE, MOST),
    ...(key ? { key } : {}),
  });
  return { body: { ...list, canAct: board.desk() !== undefined } };
}

async function history({ board, query }: Asked) {
  return { body: { history: await (await board.ledger()).alertHistory(parameter(query, 'key')) } };
}

async function act({ board, body }: Asked) {
  const desk = board.desk();
  if (!desk) {
    throw new Trouble('config', 'no alert desk works on the ledger of this board: put an alert desk node into a flow');
  }
  return { body: { alert: await desk.act((body ?? {}) as Record<string, unknown>) } };
}
