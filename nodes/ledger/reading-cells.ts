/** A reading as it stands in columns: so it travels to a thread and into the table of either ledger without being read again. */
import { parseInstant } from '../../lib/instant';
import type { AdmittedReading } from './ledger';

export type Cell = string | number | null;

/** Columns of a reading in the order of its cells; the first is its id. */
export const READING_COLUMNS = [
  'id',
  'terminal',
  'taken_at_us',
  'received_at_us',
  'source',
  'door',
  'instrument',
  'taken_by',
  'job',
  'against',
  'angle_deg',
  'voltage_v',
  'body',
] as const;

export const cellsOf = ({ reading: r, source, receivedAtUs, door, body }: AdmittedReading): Cell[] => [
  r.id,
  r.terminal,
  parseInstant(r.takenAt),
  receivedAtUs,
  source,
  door ?? '',
  r.instrument?.id ?? null,
  r.by ?? null,
  r.job ?? null,
  r.against ?? null,
  r.angleDeg ?? null,
  r.voltageV ?? null,
  body ?? JSON.stringify(r),
];

/** Cells of several readings, one reading after the other. */
export function cellsInLine(readings: readonly AdmittedReading[]): Cell[] {
  const cells: Cell[] = [];
  for (const reading of readings) cells.push(...cellsOf(reading));
  return cells;
}
