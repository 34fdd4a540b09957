/** A list of which only what is in sight is drawn; one stop for the Tab key, arrows within. */
import type { ComponentChildren } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';

interface Props<T> {
  readonly label: string;
  readonly items: readonly T[];
  readonly rowPx: number;
  readonly keyOf: (item: T) => string;
  readonly selected: string | undefined;
  readonly onSelect: (item: T) => void;
  /** other keys while the list has the focus */
  readonly onKey?: (key: string, item: T) => boolean;
  readonly onEnd?: () => void;
  readonly row: (item: T) => ComponentChildren;
}

const BEYOND = 6;
const STEPS: Readonly<Record<string, number>> = {
  ArrowDown: 1,
  ArrowUp: -1,
  PageDown: 8,
  PageUp: -8,
  Home: -1e9,
  End: 1e9,
};

export function VirtualList<T>({ label, items, rowPx, keyOf, selected, onSelect, onKey, onEnd, row }: Props<T>) {
  const box = useRef<HTMLDivElement>(null);
  const [view, setView] = useState({ top: 0, height: 600 });
  const at = items.findIndex((item) => keyOf(item) === selected);
  const from = Math.max(0, Math.floor(view.top / rowPx) - BEYOND);
  const upTo = Math.min(items.length, Math.ceil((view.top + view.height) / rowPx) + BEYOND);
  const look = () => {
    const el = box.current;
    if (!el) return;
    setView({ top: el.scrollTop, height: el.clientHeight });
    if (el.scrollTop + el.clientHeight > el.scrollHeight - 5 * rowPx) onEnd?.();
  };
  useEffect(() => {
    look();
    const watch = new ResizeObserver(look);
    if (box.current) watch.observe(box.current);
    return () => watch.disconnect();
  }, [items.length]);
  useEffect(() => {
    if (at >= 0 && box.current) intoView(box.current, at * rowPx, rowPx);
  }, [selected]);

  const press = (e: KeyboardEvent) => {
    const step = STEPS[e.key];
    const item = items[at];
    if (step !== undefined && items.length > 0) {
      e.preventDefault();
      onSelect(items[Math.min(items.length - 1, Math.max(0, at + step))]!);
    } else if (item !== undefined && !e.ctrlKey && !e.metaKey && !e.altKey && onKey?.(e.key, item)) e.preventDefault();
  };

  return (
    <div
      class="list"
      ref={box}
      role="listbox"
      tabIndex={0}
      aria-label={label}
      aria-activedescendant={at >= from && at < upTo ? `row-${at}` : undefined}
      onScroll={look}
      onKeyDown={press}
    >
      <div class="list-all" role="presentation" style={{ height: `${items.length * rowPx}px` }}>
        {items.slice(from, upTo).map((item, i) => (
          // biome-ignore lint/a11y/useFocusableInteractive: the list has the focus and names the chosen row (ARIA listbox)
          // biome-ignore lint/a11y/useKeyWithClickEvents: the list takes the keys
          <div
            key={keyOf(item)}
            id={`row-${from + i}`}
            role="option"
            class="list-row"
            aria-selected={from + i === at}
            aria-posinset={from + i + 1}
            aria-setsize={items.length}
            style={{ top: `${(from + i) * rowPx}px`, height: `${rowPx}px` }}
            onClick={() => onSelect(item)}
          >
            {row(item)}
          </div>
        ))}
      </div>
    </div>
  );
}

function intoView(box: HTMLElement, top: number, height: number): void {
  if (top < box.scrollTop) box.scrollTop = top;
  else if (top + height > box.scrollTop + box.clientHeight) box.scrollTop = top + height - box.clientHeight;
}
