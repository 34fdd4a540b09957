/** A list whose items are all here, drawn as far as it is in sight. */
import type { ComponentChildren } from 'preact';
import { LongList } from './long-list';

interface Props<T> {
  readonly label: string;
  readonly items: readonly T[];
  readonly rowPx: number;
  readonly keyOf: (item: T) => string;
  readonly selected: string | undefined;
  readonly onSelect: (item: T) => void;
  readonly row: (item: T) => ComponentChildren;
}

export const VirtualList = <T,>({ label, items, rowPx, keyOf, selected, onSelect, row }: Props<T>) => (
  <LongList
    label={label}
    count={items.length}
    itemAt={(place) => items[place]}
    rowPx={rowPx}
    selectedAt={items.findIndex((item) => keyOf(item) === selected)}
    onSelect={(place) => onSelect(items[place]!)}
    row={row}
  />
);
