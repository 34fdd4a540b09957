/** The line to the board: server-sent events, begun anew when they end or fall silent, as after sleep or behind a proxy that forgot them. */
import { signal } from '@preact/signals';
import type { Kind } from '../../../lib/records';

export const isLive = signal(false);

export type Told = ReadonlySet<Kind> | 'all';
type Listener = (kinds: Told) => void;
const listeners = new Set<Listener>();

/** The board gives a sign of life every 15 s; more than two of them missing is silence. */
const SILENT_MS = 40_000;
const LOOK_MS = 5000;
const AGAIN_MS = 3000;

let source: EventSource | undefined;
let heardMs = 0;
let wasLost = false;

/** Told of what was committed, and of everything after the line was lost: whatever is shown is asked for again then. */
export function onTold(listener: Listener): () => void {
  listeners.add(listener);
  return () => void listeners.delete(listener);
}

export function listen(): void {
  begin();
  setInterval(look, LOOK_MS);
  window.addEventListener('online', begin);
  document.addEventListener('visibilitychange', () => document.visibilityState === 'visible' && look());
}

function look(): void {
  if (Date.now() - heardMs > SILENT_MS) begin();
}

function begin(): void {
  if (source) lose();
  source?.close();
  const own = new EventSource('api/events');
  source = own;
  heardMs = Date.now();
  own.addEventListener('open', () => {
    heardMs = Date.now();
    isLive.value = true;
    if (wasLost) tell('all');
    wasLost = false;
  });
  own.addEventListener('here', () => (heardMs = Date.now()));
  own.addEventListener('records', (e) => {
    heardMs = Date.now();
    tell(new Set(JSON.parse((e as MessageEvent).data).kinds as Kind[]));
  });
  own.onerror = () => {
    lose();
    // A browser gives up for good when it is answered by an error.
    if (own.readyState === EventSource.CLOSED) setTimeout(() => own === source && begin(), AGAIN_MS);
  };
}

function lose(): void {
  isLive.value = false;
  wasLost = true;
}

function tell(kinds: Told): void {
  for (const listener of listeners) listener(kinds);
}
