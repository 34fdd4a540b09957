/** A list of any length, of which only what is in sight is drawn; one stop for the Tab key, arrows within. */
import type { ComponentChildren } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';

interface Props<T> {
  readonly label: string;
  readonly count: number;
  /** undefined: not here yet */
  readonly itemAt: (place: number) => T | undefined;
  readonly rowPx: number;
  /** place of the chosen row, or -1 */
  readonly selectedAt: number;
  readonly onSelect: (place: number) => void;
  /** other keys while the list has the focus */
  readonly onKey?: (key: string, item: T) => boolean;
  /** told which rows are drawn, when that changes */
  readonly onSee?: (from: number, upTo: number) => void;
  readonly row: (item: T) => ComponentChildren;
}

/** rows drawn beyond what is in sight, so that a turn of the wheel meets rows that stand already */
const BEYOND = 10;
/** the range moves in steps of this many rows: a frame within a step draws nothing anew */
const STEP = 5;
const STEPS: Readonly<Record<string, number>> = {
  ArrowDown: 1,
  ArrowUp: -1,
  PageDown: 8,
  PageUp: -8,
  Home: -1e9,
  End: 1e9,
};

export function LongList<T>(props: Props<T>) {
  const { label, count, itemAt, rowPx, selectedAt, onSelect, onKey, onSee, row } = props;
  const box = useRef<HTMLDivElement>(null);
  const [range, setRange] = useState({ from: 0, upTo: 2 * BEYOND });
  const from = Math.min(range.from, Math.max(0, count - 1));
  const upTo = Math.min(count, range.upTo);
  const look = () => {
    if (box.current) setRange((was) => inSight(box.current!, rowPx, was));
  };
  useEffect(() => {
    look();
    const watch = new ResizeObserver(look);
    if (box.current) watch.observe(box.current);
    return () => watch.disconnect();
  }, []);
  useEffect(() => onSee?.(from, upTo), [from, upTo]);
  useEffect(() => {
    if (selectedAt >= 0 && box.current) intoView(box.current, selectedAt * rowPx, rowPx);
  }, [selectedAt]);

  const press = (e: KeyboardEvent) => {
    const step = STEPS[e.key];
    const item = selectedAt < 0 ? undefined : itemAt(selectedAt);
    if (step !== undefined && count > 0) {
      e.preventDefault();
      onSelect(Math.min(count - 1, Math.max(0, selectedAt + step)));
    } else if (item !== undefined && !e.ctrlKey && !e.metaKey && !e.altKey && onKey?.(e.key, item)) e.preventDefault();
  };
  const rows = Array.from({ length: Math.max(0, upTo - from) }, (_, i) => from + i);

  return (
    <div
      class="list"
      ref={box}
      role="listbox"
      tabIndex={0}
      aria-label={label}
      aria-activedescendant={selectedAt >= from && selectedAt < upTo ? `row-${selectedAt}` : undefined}
      onScroll={look}
      onKeyDown={press}
    >
      <div class="list-all" role="presentation" style={{ height: `${count * rowPx}px` }}>
        {rows.map((place) => {
          const item = itemAt(place);
          return (
            // biome-ignore lint/a11y/useFocusableInteractive: the list has the focus and names the chosen row (ARIA listbox)
            // biome-ignore lint/a11y/useKeyWithClickEvents: the list takes the keys
            <div
              key={place}
              id={`row-${place}`}
              role="option"
              class="list-row"
              aria-selected={place === selectedAt}
              aria-posinset={place + 1}
              aria-setsize={count}
              style={{ top: `${place * rowPx}px`, height: `${rowPx}px` }}
              onClick={() => onSelect(place)}
            >
              {item === undefined ? <span class="coming">coming</span> : row(item)}
            </div>
          );
        })}
      </div>
    </div>
  );
}

interface Range {
  readonly from: number;
  readonly upTo: number;
}

function inSight({ scrollTop, clientHeight }: HTMLElement, rowPx: number, was: Range): Range {
  const first = Math.floor(scrollTop / rowPx / STEP) * STEP;
  const last = Math.ceil((scrollTop + clientHeight) / rowPx / STEP) * STEP;
  const [from, upTo] = [Math.max(0, first - BEYOND), last + BEYOND];
  return from === was.from && upTo === was.upTo ? was : { from, upTo };
}

function intoView(box: HTMLElement, top: number, height: number): void {
  if (top < box.scrollTop) box.scrollTop = top;
  else if (top + height > box.scrollTop + box.clientHeight) box.scrollTop = top + height - box.clientHeight;
}
