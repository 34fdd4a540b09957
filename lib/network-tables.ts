/** The tables of a network in CSV: which columns there are, which row a value stands in, and what is wrong with it. */
import { type CsvRow, parseCsv } from './csv';

export const TERMINAL_COLUMNS = [
  'id',
  'site',
  'position',
  'viewing',
  'recordedPhase',
  'connection',
  'nominalV',
  'path',
  'lat',
  'lon',
] as const;
export const POINT_COLUMNS = ['openPoint', 'left', 'right', 'toleranceDeg', 'proofTerminal'] as const;
export type Column = (typeof TERMINAL_COLUMNS)[number] | (typeof POINT_COLUMNS)[number];

/** One row of a table by its columns, with where it stands. */
export interface Entry {
  readonly where: string;
  readonly cell: (column: Column) => string;
}

export interface Table {
  readonly kind: 'terminals' | 'openPoints';
  readonly entries: readonly Entry[];
}

/** Tables stand apart by an empty row. @param of put before row numbers, for a text of its own */
export function tablesOf(text: string, of: string, problems: string[]): Table[] {
  const blocks: CsvRow[][] = [[]];
  for (const row of parseCsv(text)) {
    if (row.fields.length === 0) blocks.push([]);
    else blocks.at(-1)!.push(row);
  }
  return blocks.filter((b) => b.length > 0).flatMap((block) => tableOf(block, of, problems));
}

function tableOf([header, ...rows]: readonly CsvRow[], of: string, problems: string[]): Table[] {
  const names = header!.fields.map((f) => f.toLowerCase());
  const kind = names.includes('openpoint') ? 'openPoints' : 'terminals';
  const columns: readonly Column[] = kind === 'openPoints' ? POINT_COLUMNS : TERMINAL_COLUMNS;
  const known = new Set(columns.map((c) => c.toLowerCase()));
  const strangers = header!.fields.filter((f) => f !== '' && !known.has(f.toLowerCase()));
  const lacking = !names.includes(kind === 'openPoints' ? 'openpoint' : 'id');
  if (strangers.length > 0 || lacking) {
    const what = lacking ? 'is not a header row of a table' : `unknown columns ${strangers.join(', ')}`;
    problems.push(`${of}row ${header!.row}: ${what}; expected columns ${columns.join(', ')}`);
    return [];
  }
  const place = new Map(columns.map((c) => [c, names.indexOf(c.toLowerCase())]));
  const entries = rows.map((r) => ({
    where: `${of}row ${r.row}`,
    cell: (column: Column) => r.fields[place.get(column) ?? -1] ?? '',
  }));
  return [{ kind, entries }];
}

/** One of the words, or empty with a problem told. */
export function word(
  where: string,
  column: string,
  given: string,
  words: readonly string[],
  problems: string[],
): string {
  if (given === '' || words.includes(given)) return given;
  problems.push(`${where}: ${column} is ${JSON.stringify(given)}; expected one of ${words.join(', ')}`);
  return '';
}

/** A number above 0, or undefined with a problem told. */
export function positive(where: string, column: string, given: string, problems: string[]): number | undefined {
  if (given === '') return undefined;
  const value = Number(given);
  if (value > 0 && Number.isFinite(value)) return value;
  problems.push(`${where}: ${column} is ${JSON.stringify(given)}; expected a number above 0 with a point, e.g. 12470`);
  return undefined;
}

/** A number within bounds, or undefined with a problem told. */
export function within(
  where: string,
  column: string,
  given: string,
  least: number,
  most: number,
  problems: string[],
): number | undefined {
  if (given === '') return undefined;
  const value = Number(given);
  if (value >= least && value <= most) return value;
  problems.push(
    `${where}: ${column} is ${JSON.stringify(given)}; expected degrees from ${least} to ${most} with a point`,
  );
  return undefined;
}
