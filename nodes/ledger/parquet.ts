/** Parquet with typed columns: instants as timestamps in UTC to the microsecond, lists as JSON. Written by the optional package hyparquet-writer. */
import { parseInstant } from '../../lib/instant';
import type { Kind, PhaseloomRecord } from '../../lib/records';
import { Trouble } from '../kit/trouble';
import { type Cell, type CellType, columnsOf, rowOf } from './columns';

interface SchemaElement {
  readonly name: string;
  readonly num_children?: number;
  readonly type?: string;
  readonly repetition_type?: string;
  readonly converted_type?: string;
  readonly logical_type?: object;
}

interface Writer {
  parquetWriteBuffer(options: {
    readonly columnData: readonly { readonly name: string; readonly data: readonly unknown[] }[];
    readonly schema: readonly SchemaElement[];
    readonly createdBy: string;
  }): ArrayBuffer;
}

const TYPES: Readonly<Record<CellType, Omit<SchemaElement, 'name'>>> = {
  text: { type: 'BYTE_ARRAY', converted_type: 'UTF8' },
  json: { type: 'BYTE_ARRAY', converted_type: 'UTF8' },
  number: { type: 'DOUBLE' },
  integer: { type: 'INT64' },
  boolean: { type: 'BOOLEAN' },
  instant: {
    type: 'INT64',
    converted_type: 'TIMESTAMP_MICROS',
    logical_type: { type: 'TIMESTAMP', isAdjustedToUTC: true, unit: 'MICROS' },
  },
};

export function parquetOf(records: readonly PhaseloomRecord[], kinds: readonly Kind[], writer = loadWriter()): Buffer {
  const columns = columnsOf(kinds);
  const rows = records.map((record) => rowOf(record, columns));
  const columnData = columns.map(({ name, type }, c) => ({ name, data: rows.map((row) => stored(row[c]!, type)) }));
  const schema = columns.map(({ name, type }) => ({ name, repetition_type: 'OPTIONAL', ...TYPES[type] }));
  const root = { name: 'root', num_children: columns.length };
  return Buffer.from(writer.parquetWriteBuffer({ columnData, schema: [root, ...schema], createdBy: 'phaseloom' }));
}

function stored(cell: Cell, type: CellType): unknown {
  if (cell === null) return null;
  if (type === 'instant') return BigInt(parseInstant(cell as string));
  return type === 'integer' ? BigInt(cell as number) : cell;
}

export function loadWriter(load: (name: string) => unknown = require): Writer {
  try {
    return load('hyparquet-writer') as Writer;
  } catch {
    throw new Trouble(
      'parquet-missing',
      'Parquet needs the package hyparquet-writer, which is not installed: run npm install hyparquet-writer in the Node-RED user directory and restart, or choose CSV',
    );
  }
}
