/** The first of a list; the rest when asked for. */
import type { ComponentChildren } from 'preact';
import { useState } from 'preact/hooks';

interface Props<T> {
  readonly of: readonly T[];
  readonly most: number;
  readonly children: (item: T, i: number) => ComponentChildren;
  /** what holds the items, e.g. a list */
  readonly within?: 'ul' | 'ol' | 'div';
  readonly class?: string;
}

export function Some<T>({ of, most, children, within: Within = 'div', class: name }: Props<T>) {
  const [isAll, setAll] = useState(false);
  const shown = isAll ? of : of.slice(0, most);
  return (
    <>
      <Within class={name}>{shown.map(children)}</Within>
      {shown.length < of.length && (
        <button type="button" class="more" onClick={() => setAll(true)}>
          {of.length - shown.length} more
        </button>
      )}
    </>
  );
}
