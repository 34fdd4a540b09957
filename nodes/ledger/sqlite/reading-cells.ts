/** Readings as they stand in columns, one after the other: so they travel to the thread and into the table without being read again. */
import { parseInstant } from '../../../lib/instant';
import type { AdmittedReading } from '../ledger';

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

export function cellsOf(readings: readonly AdmittedReading[]): Cell[] {
  const cells: Cell[] = [];
  for (const { reading: r, source, receivedAtUs, door, body } of readings) {
    cells.push(
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
    );
  }
  return cells;
}
