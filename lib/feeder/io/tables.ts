/** Tables in CSV: rows by column name, with where they stand. */
import { type CsvRow, parseCsv } from '../../csv';

export interface TableRow {
  /** e.g. 'sections row 3' */
  readonly where: string;
  /** empty where the column is not there */
  readonly cell: (column: string) => string;
}

/** Blocks of rows that stand apart by an empty row, each with its header first. */
export function blocksOfRows(text: string): CsvRow[][] {
  const blocks: CsvRow[][] = [[]];
  for (const row of parseCsv(text)) {
    if (row.fields.length === 0) blocks.push([]);
    else blocks.at(-1)!.push(row);
  }
  return blocks.filter((b) => b.length > 0);
}

export const headerOf = (block: readonly CsvRow[]): string[] => block[0]!.fields.map((f) => f.toLowerCase());

/** The rows of a block under its header; lacking and, when `known` is given, unknown columns are told. */
export function rowsUnder(
  block: readonly CsvRow[],
  table: string,
  { needed, known }: { readonly needed: readonly string[]; readonly known?: readonly string[] },
  problems: string[],
): TableRow[] {
  const header = headerOf(block);
  const lacking = needed.filter((c) => !header.includes(c.toLowerCase()));
  const strange = known ? header.filter((h) => h !== '' && !known.some((k) => k.toLowerCase() === h)) : [];
  if (lacking.length > 0 || strange.length > 0) {
    const what =
      lacking.length > 0 ? `column ${lacking.join(', ')} is missing` : `unknown columns ${strange.join(', ')}`;
    problems.push(`${table} row ${block[0]!.row}: ${what}; expected columns ${(known ?? needed).join(', ')}`);
    return [];
  }
  for (const { row, fields } of block.slice(1)) {
    const nameless = fields.filter((f, c) => f !== '' && (header[c] ?? '') === '');
    if (nameless.length === 0) continue;
    problems.push(
      `${table} row ${row}: ${nameless.map((f) => JSON.stringify(f)).join(', ')} stands under no column; expected one cell a column, a text with separators in quotes`,
    );
  }
  return block.slice(1).map(({ row, fields }) => ({
    where: `${table} row ${row}`,
    cell: (column) => fields[header.indexOf(column.toLowerCase())] ?? '',
  }));
}

/** The number in a cell; undefined when empty, a problem when it is no number. */
export function numberIn({ where, cell }: TableRow, column: string, problems: string[]): number | undefined {
  const given = cell(column);
  if (given === '') return undefined;
  const value = Number(given);
  if (Number.isFinite(value)) return value;
  problems.push(`${where}: ${column} is ${JSON.stringify(given)}; expected a number with a point, e.g. 12.5`);
  return undefined;
}

/**
 * Phase labels in one cell: apart by blanks, or single letters in one word.
 * @example phasesIn('BC') // ['B', 'C']
 * @example phasesIn('L1 L3') // ['L1', 'L3']
 */
export const phasesIn = (text: string): string[] => {
  const words = text.trim().split(/\s+/).filter(Boolean);
  return words.length === 1 && !/\d/.test(words[0]!) ? [...words[0]!] : words;
};

/** A field as RFC 4180 wants it. */
export const csvField = (value: string | number | boolean | undefined): string => {
  const text = String(value ?? '');
  return /[",;\t\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
};
