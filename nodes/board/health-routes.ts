/** How the ledger is, what waits, and when the references were last heard. */
import type { Frame } from '../../lib/frame';
import type { Ledger } from '../ledger/ledger';
import type { Asked, Route } from './route';

export const healthRoutes: readonly Route[] = [{ method: 'GET', path: 'api/health', answer: health }];

const MOST = 50;

async function health({ board }: Asked) {
  const ledger = await board.ledger();
  const [now, waiting, rejected, references] = await Promise.all([
    ledger.health(),
    ledger.deliveries({ state: 'waiting', limit: MOST }),
    ledger.records({ kinds: ['rejection'], order: 'newest-first', limit: MOST }),
    referencesOf(ledger, board.frame()),
  ]);
  const at = new Date().toISOString();
  return { body: { at, ledger: ledger.label, ...now, waiting, rejected: rejected.records, references } };
}

async function referencesOf(ledger: Ledger, frame: Frame | undefined) {
  const stations = frame?.references ?? [];
  const terminals = stations.flatMap(({ terminal }) => (terminal === undefined ? [] : [terminal]));
  const last = new Map((await ledger.latestReadings(terminals, 1)).map(({ reading }) => [reading.terminal, reading]));
  return stations.map(({ id, terminal, phase }) => ({ id, terminal, phase, last: last.get(terminal ?? '') ?? null }));
}
