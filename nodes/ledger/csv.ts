/** CSV as RFC 4180 has it: a head line, CRLF, cells in quotes where they must be. */
import type { Kind, PhaseloomRecord } from '../../lib/records';
import { type Cell, columnsOf, rowOf } from './columns';

/**
 * A spreadsheet takes a text that begins like this for a formula, and runs it (OWASP, "CSV Injection"). An apostrophe before it keeps
 * it a text. Numbers are left alone: -118.4 is a number.
 */
const FORMULA = /^[=+\-@\t\r\n]/;

export function csvOf(records: readonly PhaseloomRecord[], kinds: readonly Kind[]): string {
  const columns = columnsOf(kinds);
  const lines = [columns.map((c) => c.name), ...records.map((record) => rowOf(record, columns))];
  return lines.map((cells) => `${cells.map(written).join(',')}\r\n`).join('');
}

function written(cell: Cell): string {
  if (cell === null) return '';
  if (typeof cell !== 'string') return String(cell);
  const guarded = FORMULA.test(cell) ? `'${cell}` : cell;
  return /[",\r\n]/.test(guarded) ? `"${guarded.replaceAll('"', '""')}"` : guarded;
}
