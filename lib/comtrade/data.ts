/** The data file of IEEE C37.111, from memory of the standard: rows of number, time stamp, analog counts, digital words. */
import type { Problem } from '../records';
import type { ComtradeConfig } from './config';
import { attempt, Wrong } from './lines';

export interface DataRows {
  /** by channel, NaN where the file marks one as missing */
  readonly counts: readonly Float64Array[];
  /** as they stand in the file; NaN where one is missing */
  readonly stamps: Float64Array;
}

/** Rows, or why the file does not fit its configuration, `at` as `/dat/ROW/FIELD`. */
export type DataRead =
  | ({ readonly ok: true } & DataRows)
  | { readonly ok: false; readonly problems: readonly Problem[] };

const SIZES = { BINARY: 2, BINARY32: 4, FLOAT32: 4 } as const;

export function readComtradeData(config: ComtradeConfig, data: string | Uint8Array): DataRead {
  const read = attempt(() => rowsOf(config, data));
  return 'value' in read ? { ok: true, ...read.value } : { ok: false, problems: [read.problem] };
}

function rowsOf(config: ComtradeConfig, data: string | Uint8Array): DataRows {
  if (config.form === 'ASCII')
    return asciiRows(config, typeof data === 'string' ? data : new TextDecoder().decode(data));
  if (typeof data === 'string') throw wrong('', `the data are text and the configuration says ${config.form}`, 'bytes');
  return binaryRows(config, data, config.form);
}

const wrong = (at: string, what: string, expected: string): Wrong =>
  new Wrong({ at: `/dat${at}`, code: 'data-wrong', what, expected });

function room(config: ComtradeConfig): DataRows & { readonly counts: Float64Array[] } {
  return { counts: config.analogs.map(() => new Float64Array(config.rows)), stamps: new Float64Array(config.rows) };
}

function asciiRows(config: ComtradeConfig, text: string): DataRows {
  const lines = text.split(/\r\n|\n|\r/).filter((line) => line.trim() !== '' && line.trim() !== '\u001a');
  if (lines.length !== config.rows) throw wrong('', `${lines.length} rows`, `${config.rows}, after the configuration`);
  const made = room(config);
  const width = 2 + config.analogs.length + config.digitals;
  for (const [row, line] of lines.entries()) {
    const fields = line.split(',');
    if (fields.length !== width) throw wrong(`/${row + 1}`, `row ${row + 1} has ${fields.length} fields`, `${width}`);
    checkNumber(Number(fields[0]), row);
    made.stamps[row] = asciiNumber(fields[1]!, row, 2);
    for (const [c, column] of made.counts.entries()) column[row] = asciiNumber(fields[2 + c]!, row, 3 + c);
  }
  return made;
}

function asciiNumber(field: string, row: number, at: number): number {
  const text = field.trim();
  if (text === '' || text === '99999') return Number.NaN;
  const value = Number(text);
  if (Number.isFinite(value)) return value;
  throw wrong(`/${row + 1}/${at}`, `row ${row + 1}, field ${at} is ${JSON.stringify(text)}`, 'a number, or nothing');
}

function checkNumber(number: number, row: number): void {
  if (number !== row + 1) throw wrong(`/${row + 1}/1`, `row ${row + 1} has the number ${number}`, `${row + 1}`);
}

function binaryRows(config: ComtradeConfig, bytes: Uint8Array, form: keyof typeof SIZES): DataRows {
  const size = SIZES[form];
  const width = 8 + size * config.analogs.length + 2 * Math.ceil(config.digitals / 16);
  if (bytes.length !== width * config.rows)
    throw wrong('', `${bytes.length} bytes`, `${config.rows} rows of ${width} bytes, after the configuration`);
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const made = room(config);
  for (let row = 0; row < config.rows; row++) {
    const at = row * width;
    checkNumber(view.getUint32(at, true), row);
    const stamp = view.getUint32(at + 4, true);
    made.stamps[row] = stamp === 0xffff_ffff ? Number.NaN : stamp;
    for (const [c, column] of made.counts.entries()) column[row] = count(view, at + 8 + size * c, form);
  }
  return made;
}

/** The least integer marks a missing value. */
function count(view: DataView, at: number, form: keyof typeof SIZES): number {
  if (form === 'FLOAT32') return view.getFloat32(at, true);
  const value = form === 'BINARY' ? view.getInt16(at, true) : view.getInt32(at, true);
  return value === (form === 'BINARY' ? -32_768 : -2_147_483_648) ? Number.NaN : value;
}
