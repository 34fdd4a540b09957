/** The pages of a list, for a component. */
import { useEffect, useRef, useState } from 'preact/hooks';
import { type AskPage, KeptPages } from './kept-pages';

/** @param key the pages are forgotten when it changes */
export function usePages<T>(key: string, ask: AskPage<T>): KeptPages<T> {
  const [, setTurn] = useState(0);
  const held = useRef<{ key: string; pages: KeptPages<T> }>(undefined);
  if (held.current?.key !== key) {
    held.current?.pages.close();
    held.current = { key, pages: new KeptPages(ask, () => setTurn((turn) => turn + 1)) };
  }
  const { pages } = held.current;
  useEffect(() => {
    pages.see(0, 1);
    return () => pages.close();
  }, [pages]);
  return pages;
}
