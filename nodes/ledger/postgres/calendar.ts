/** Stretches of the calendar in UTC: what one partition holds. */

export const STRETCHES = ['day', 'week', 'month', 'year'] as const;
export type Stretch = (typeof STRETCHES)[number];

/** From (included) to (not included), microseconds since 1970-01-01T00:00:00Z. */
export interface Span {
  readonly fromUs: number;
  readonly toUs: number;
}

const US_PER_MS = 1000;

/**
 * The day, week (from Monday), month or year that holds an instant.
 * @example stretchAround(Date.UTC(2026, 4, 4, 10) * 1000, 'month') // { fromUs: Date.UTC(2026, 4, 1) * 1000, toUs: Date.UTC(2026, 5, 1) * 1000 }
 */
export function stretchAround(us: number, stretch: Stretch): Span {
  const at = new Date(Math.floor(us / US_PER_MS));
  const [year, month, day] = [at.getUTCFullYear(), at.getUTCMonth(), at.getUTCDate()];
  const begin = (y: number, m: number, d: number) => Date.UTC(y, m, d) * US_PER_MS;
  if (stretch === 'year') return { fromUs: begin(year, 0, 1), toUs: begin(year + 1, 0, 1) };
  if (stretch === 'month') return { fromUs: begin(year, month, 1), toUs: begin(year, month + 1, 1) };
  const first = stretch === 'day' ? day : day - ((at.getUTCDay() + 6) % 7);
  return { fromUs: begin(year, month, first), toUs: begin(year, month, first + (stretch === 'day' ? 1 : 7)) };
}

/** Stretches that cover a span, less what is taken already; one that is taken in part is cut. */
export function openSpans(span: Span, stretch: Stretch, taken: readonly Span[]): Span[] {
  const sorted = taken.toSorted((a, b) => a.fromUs - b.fromUs);
  const open: Span[] = [];
  for (let cell = stretchAround(span.fromUs, stretch); cell.fromUs < span.toUs; ) {
    let { fromUs } = cell;
    for (const t of sorted) {
      if (t.toUs <= fromUs || t.fromUs >= cell.toUs) continue;
      if (t.fromUs > fromUs) open.push({ fromUs, toUs: t.fromUs });
      fromUs = t.toUs;
    }
    if (fromUs < cell.toUs) open.push({ fromUs, toUs: cell.toUs });
    cell = stretchAround(cell.toUs, stretch);
  }
  return open;
}
