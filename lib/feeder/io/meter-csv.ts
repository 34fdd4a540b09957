/** Meter voltages from a table: a column of instants, a column a phase, a column a meter. */
import { type CsvRow, parseCsv } from '../../csv';
import { formatInstant, parseInstant } from '../../instant';
import type { MeterBatchRead } from './meter-batch';

/**
 * The first column is `time` (RFC 3339, oldest first); a column named like a phase of the feeder is the series known to be of that phase, any other the
 * meter at the terminal of that name. Empty fields are missing values.
 * @param id what the trace is to name as its source
 */
export const readMeterCsv = (text: string, phases: readonly string[], id: string): MeterBatchRead =>
  readMeterRows(parseCsv(text), phases, id);

/** The same from the rows of any table, the heading first. */
export function readMeterRows(table: readonly CsvRow[], phases: readonly string[], id: string): MeterBatchRead {
  const [head, ...rows] = table.filter((r) => r.fields.length > 0);
  const names = head?.fields ?? [];
  const problems = headProblems(names, phases);
  const times = rows.map((row) => timeIn(row, problems));
  times.forEach((t, i) => {
    if (i > 0 && t <= times[i - 1]!)
      problems.push(`row ${rows[i]!.row}: time is not after the row before; expected rows oldest first`);
  });
  if (rows.length === 0) problems.push('there are no rows below the heading; expected one an instant');
  const columns = names.map((name, c) => [name, rows.map((row) => valueIn(row, c, name, problems))] as const).slice(1);
  if (problems.length > 0) return { ok: false, problems };
  const of = (isPhase: boolean) => Object.fromEntries(columns.filter(([name]) => phases.includes(name) === isPhase));
  return { ok: true, batch: { id, until: formatInstant(times.at(-1)!), phases: of(true), meters: of(false) } };
}

function headProblems(names: readonly string[], phases: readonly string[]): string[] {
  const problems: string[] = [];
  if (names[0]?.toLowerCase() !== 'time') problems.push(`the first column is ${names[0] ?? 'missing'}; expected time`);
  const twice = names.find((name, c) => names.indexOf(name) < c);
  if (twice !== undefined) problems.push(`column ${twice}: is there twice; expected one a phase and one a terminal`);
  const lacking = phases.filter((p) => !names.includes(p));
  if (lacking.length > 0) problems.push(`there is no column ${lacking.join(', ')}; expected one a phase`);
  return problems;
}

function timeIn({ row, fields }: CsvRow, problems: string[]): number {
  const us = parseInstant(fields[0]!);
  if (Number.isNaN(us)) {
    problems.push(`row ${row}: time is ${JSON.stringify(fields[0])}; expected RFC 3339, e.g. 2026-05-04T10:15:00Z`);
  }
  return us;
}

function valueIn({ row, fields }: CsvRow, column: number, name: string, problems: string[]): number | null {
  const text = fields[column] ?? '';
  if (column === 0 || text === '') return null;
  const value = Number(text);
  if (!Number.isFinite(value)) {
    problems.push(`row ${row}, ${name}: ${JSON.stringify(text)}; expected a number with a decimal point, or nothing`);
  }
  return value;
}
