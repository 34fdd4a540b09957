/** A row that a transaction stored: what listeners hear of once it is committed, and what a digest is taken over. */
import type { PhaseloomRecord } from '../../../lib/records';

export interface StoredRow {
  readonly table: 'reading' | 'rejection' | 'finding' | 'alert_transition';
  readonly seq: number;
  readonly id: string;
  /** the record as the text that stands in the table */
  readonly body: string;
  readonly record: PhaseloomRecord;
}

/** Rows returned by an insert, with the records that went into it. */
export function storedRows<R extends PhaseloomRecord>(
  table: StoredRow['table'],
  returned: readonly { readonly id: string; readonly seq: number }[],
  given: readonly { readonly record: R; readonly body: string }[],
): StoredRow[] {
  const byId = new Map(given.map((g) => [g.record.id, g]));
  return returned.map(({ id, seq }) => {
    const { record, body } = byId.get(id)!;
    return { table, seq, id, body, record };
  });
}
