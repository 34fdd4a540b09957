/** What is shown is asked for again when something was committed, or after the line was lost. */
import { useEffect, useRef, useState } from 'preact/hooks';
import type { Kind } from '../../../lib/records';
import { onTold, type Told } from './line';
import { spaced } from './spaced';

export interface Shown<T> {
  readonly value: T | undefined;
  readonly error: string | undefined;
  readonly again: () => void;
}

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
    let turn = 0;
    let shownTurn = 0;
    const now = () => {
      const own = ++turn;
      // An answer that was overtaken by a later one says what was, not what is.
      const isNews = () => {
        if (isGone || own < shownTurn) return false;
        shownTurn = own;
        return true;
      };
      asking.current().then(
        (value) => isNews() && setShown({ key, value }),
        (cause) => isNews() && setShown((was) => ({ ...(was.key === key ? was : { key }), error: cause.message })),
      );
    };
    const asked = spaced(now);
    again.current = asked.soon;
    const heard = (told: Told) => {
      if (told === 'all' || kinds.some((k) => told.has(k))) again.current();
    };
    const deaf = onTold(heard);
    const ticking = everyMs === undefined ? undefined : window.setInterval(now, everyMs);
    now();
    return () => {
      isGone = true;
      deaf();
      asked.stop();
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
