/** All rows of an answer, unless they would fill the memory: a thread that has none left ends the whole program, whatever its limit. */
import type { SQLInputValue, StatementSync } from 'node:sqlite';
import { getHeapStatistics } from 'node:v8';
import { Trouble } from '../../kit/trouble';

/** Parsed, sent to another thread and parsed there, a text takes some four times its length at its worst. */
const MOST_CHARACTERS = getHeapStatistics().heap_size_limit / 16;

/** @throws Trouble 'query-too-large' when the texts hold more than `most` characters */
export function boundedRows(
  statement: StatementSync,
  values: readonly SQLInputValue[],
  most = MOST_CHARACTERS,
): Record<string, unknown>[] {
  const rows: Record<string, unknown>[] = [];
  let characters = 0;
  for (const row of statement.iterate(...values)) {
    rows.push(row);
    for (const name in row) characters += lengthOf(row[name]);
    if (characters > most) throw tooLarge(rows.length, most);
  }
  return rows;
}

const lengthOf = (value: unknown): number => (typeof value === 'string' ? value.length : 0);

const tooLarge = (rows: number, most: number): Trouble =>
  new Trouble(
    'query-too-large',
    `${rows} records of the answer already hold more than ${Math.round(most / 1e6)} million characters; right would be fewer at a time: a smaller limit or page, or a narrower query`,
  );
