/** The data file of IEEE C37.111, from memory of the standard: rows of number, time stamp, analog counts, digital words. */
import type { ComtradeConfig } from './config';

/** Counts by channel, NaN where the file marks one as missing; or why the file does not fit its configuration. */
export type DataRead = { readonly counts: readonly Float64Array[] } | { readonly what: string };

const SIZES = { BINARY: 2, BINARY32: 4, FLOAT32: 4 } as const;

export function readComtradeData(config: ComtradeConfig, data: string | Uint8Array): DataRead {
  if (config.form === 'ASCII')
    return asciiRows(config, typeof data === 'string' ? data : new TextDecoder().decode(data));
  if (typeof data === 'string') return { what: `the data are text and the configuration says ${config.form}` };
  return binaryRows(config, data, config.form);
}

function asciiRows(config: ComtradeConfig, text: string): DataRead {
  const lines = text.split(/\r\n|\n|\r/).filter((line) => line.trim() !== '' && line.trim() !== '\u001a');
  if (lines.length !== config.rows) return { what: `${lines.length} rows; the configuration says ${config.rows}` };
  const counts = config.analogs.map(() => new Float64Array(lines.length));
  for (const [row, line] of lines.entries()) {
    const fields = line.split(',');
    const width = 2 + config.analogs.length + config.digitals;
    if (fields.length !== width) return { what: `row ${row + 1} has ${fields.length} fields; ${width} are right` };
    if (Number(fields[0]) !== row + 1) return { what: `row ${row + 1} has the number ${fields[0]}` };
    for (const [c, column] of counts.entries()) {
      const field = (fields[2 + c] as string).trim();
      column[row] = field === '' || field === '99999' ? Number.NaN : Number(field);
    }
  }
  return { counts };
}

function binaryRows(config: ComtradeConfig, bytes: Uint8Array, form: keyof typeof SIZES): DataRead {
  const size = SIZES[form];
  const width = 8 + size * config.analogs.length + 2 * Math.ceil(config.digitals / 16);
  if (bytes.length !== width * config.rows)
    return { what: `${bytes.length} bytes; ${config.rows} rows of ${width} bytes are right` };
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const counts = config.analogs.map(() => new Float64Array(config.rows));
  for (let row = 0; row < config.rows; row++) {
    const number = view.getUint32(row * width, true);
    if (number !== row + 1) return { what: `row ${row + 1} has the number ${number}` };
    for (const [c, column] of counts.entries()) column[row] = count(view, row * width + 8 + size * c, form);
  }
  return { counts };
}

/** The least integer marks a missing value. */
function count(view: DataView, at: number, form: keyof typeof SIZES): number {
  if (form === 'FLOAT32') return view.getFloat32(at, true);
  const value = form === 'BINARY' ? view.getInt16(at, true) : view.getInt32(at, true);
  return value === (form === 'BINARY' ? -32_768 : -2_147_483_648) ? Number.NaN : value;
}
