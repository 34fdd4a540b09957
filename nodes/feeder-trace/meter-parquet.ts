/** Meter voltages from a Parquet file, read by the optional package hyparquet: the columns of the table that may also come as CSV. */
import type { CsvRow } from '../../lib/csv';
import { asError, Trouble } from '../kit/trouble';

interface Reader {
  parquetReadObjects(options: { readonly file: ArrayBuffer }): Promise<readonly Readonly<Record<string, unknown>>[]>;
}

/** Rows of the file as text, the heading first; what Parquet holds as a timestamp becomes RFC 3339. */
export async function parquetRows(bytes: Buffer, reader = loadReader()): Promise<CsvRow[]> {
  const file = bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength) as ArrayBuffer;
  const rows = await reader.parquetReadObjects({ file }).catch((cause: unknown) => {
    throw new Trouble(
      'meters-invalid',
      `msg.payload.meters: the bytes are not a Parquet file that can be read (${asError(cause).message}); expected Parquet, or CSV as text`,
    );
  });
  const names = Object.keys(rows[0] ?? {});
  const body = rows.map((row, i) => ({ row: i + 2, fields: names.map((name) => textOf(row[name])) }));
  return [{ row: 1, fields: names }, ...body];
}

function textOf(value: unknown): string {
  if (value === null || value === undefined) return '';
  return value instanceof Date ? value.toISOString() : String(value);
}

export function loadReader(load: (name: string) => unknown = require): Reader {
  try {
    return load('hyparquet') as Reader;
  } catch {
    throw new Trouble(
      'parquet-missing',
      'Parquet needs the package hyparquet, which is not installed: run npm install hyparquet in the Node-RED user directory and restart, or give CSV',
    );
  }
}
