/** What is shown is asked for again when something was committed, or after the line was lost. */
import { signal } from '@preact/signals';
import { useEffect, useRef, useState } from 'preact/hooks';
import type { Kind } from '../../../lib/records';

export const isLive = signal(false);

type Listener = (kinds: ReadonlySet<Kind> | 'all') => void;
const listeners = new Set<Listener>();

let wasLost = false;

export function listen(): void {
  const source = new EventSource('api/events');
  source.addEventListener('open', () => {
    isLive.value = true;
    if (wasLost) tell('all');
    wasLost = false;
  });
  source.addEventListener('records', (e) => tell(new Set(JSON.parse((e as MessageEvent).data).kinds as Kind[])));
  source.onerror = () => {
    isLive.value = false;
    wasLost = true;
    // A browser gives up for good when it is answered by an error.
    if (source.readyState === EventSource.CLOSED) setTimeout(listen, 3000);
  };
}

function tell(kinds: ReadonlySet<Kind> | 'all'): void {
  for (const listener of listeners) listener(kinds);
}

export interface Shown<T> {
  readonly value: T | undefined;
  readonly error: string | undefined;
  readonly again: () => void;
}

/** At most this often, however much is committed. */
const SPACING_MS = 400;

/**
 * An answer kept fresh.
 * @param key asked anew when it changes
 * @param kinds commits of these lead to asking again
 */
export function useLive<T>(key: string, ask: () => Promise<T>, kinds: readonly Kind[], everyMs?: number): Shown<T> {
  const [shown, setShown] = useState<{ key: string; value?: T; error?: string }>({ key });
  const asking = useRef(ask);
  asking.current = ask;
  const again = useRef(() => {});
  useEffect(() => {
    let isGone = false;
    let timer: number | undefined;
    const now = () => {
      timer = undefined;
      asking.current().then(
        (value) => !isGone && setShown({ key, value }),
        (cause) => !isGone && setShown((was) => ({ ...(was.key === key ? was : { key }), error: cause.message })),
      );
    };
    again.current = () => {
      timer ??= window.setTimeout(now, SPACING_MS);
    };
    const heard: Listener = (told) => {
      if (told === 'all' || kinds.some((k) => told.has(k))) again.current();
    };
    listeners.add(heard);
    const ticking = everyMs === undefined ? undefined : window.setInterval(now, everyMs);
    now();
    return () => {
      isGone = true;
      listeners.delete(heard);
      clearTimeout(timer);
      clearInterval(ticking);
    };
  }, [key]);
  const fits = shown.key === key;
  return {
    value: fits ? shown.value : undefined,
    error: fits ? shown.error : undefined,
    again: () => again.current(),
  };
}
