/** Readings into their table, many with one statement: to start a statement costs as much as to store a row. */
import type { DatabaseSync } from 'node:sqlite';
import type { Admission } from '../ledger';
import { type Cell, READING_COLUMNS } from '../reading-cells';

type Place = Admission['readings'][number];

const WIDTH = READING_COLUMNS.length;
const AT_ONCE = 64;

export class ReadingRows {
  private readonly insertMany;
  private readonly insertOne;
  private readonly seqOf;
  private readonly newest;

  constructor(database: DatabaseSync) {
    this.insertMany = database.prepare(insertOf(AT_ONCE));
    this.insertOne = database.prepare(insertOf(1));
    this.seqOf = database.prepare('select seq from reading where id = ?');
    this.newest = database.prepare('select coalesce(max(seq), 0) as head from reading');
  }

  /** @param cells of all readings, one after the other; what is there already stays as it is */
  insert(cells: readonly Cell[]): Place[] {
    const places: Place[] = [];
    let { head } = this.newest.get() as { head: number };
    for (let from = 0; from < cells.length; ) {
      const isMany = cells.length - from >= AT_ONCE * WIDTH;
      const part = cells.slice(from, from + (isMany ? AT_ONCE : 1) * WIDTH);
      const { changes, lastInsertRowid } = (isMany ? this.insertMany : this.insertOne).run(...part);
      const count = part.length / WIDTH;
      const last = Number(lastInsertRowid);
      for (const place of changes === count ? inARow(last, count) : this.lookedUp(part, head)) places.push(place);
      if (changes !== 0) head = last;
      from += part.length;
    }
    return places;
  }

  /** Where some were there already: new are those past the newest place before. */
  private lookedUp(part: readonly Cell[], head: number): Place[] {
    const met = new Set<number>();
    const places: Place[] = [];
    for (let i = 0; i < part.length; i += WIDTH) {
      const { seq } = this.seqOf.get(part[i]!) as { seq: number };
      places.push({ seq, isNew: seq > head && !met.has(seq) });
      met.add(seq);
    }
    return places;
  }
}

/** Rows that are all new have one place after the other. */
const inARow = (last: number, count: number): Place[] =>
  Array.from({ length: count }, (_, i) => ({ seq: last - count + 1 + i, isNew: true }));

const insertOf = (rows: number): string => {
  const row = `(${READING_COLUMNS.map(() => '?').join(', ')})`;
  return `insert into reading (${READING_COLUMNS.join(', ')}) values ${Array(rows).fill(row).join(', ')} on conflict (id) do nothing`;
};
