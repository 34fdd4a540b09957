/** The configuration file of IEEE C37.111 (1991, 1999, 2013 revisions), from memory of the standard. */
import type { Problem } from '../records';
import { attempt, Lines } from './lines';
import { clockOf, instantOf } from './times';

export interface RecordedChannel {
  readonly id: string;
  readonly phase: string;
  readonly unit: string;
  /** primary value of a count: a * count + b; as recorded where `side` is not told */
  readonly a: number;
  readonly b: number;
  /** the channel is sampled this much after the time of the row, microseconds */
  readonly skewUs: number;
  readonly min: number;
  readonly max: number;
  /** which side of the transformer the file speaks of; undefined in the 1991 revision, which does not say */
  readonly side: 'primary' | 'secondary' | undefined;
}

export type DataForm = 'ASCII' | 'BINARY' | 'BINARY32' | 'FLOAT32';

/** Rows up to `lastRow` (from 1) are sampled at this rate. */
export interface SamplingRate {
  readonly rateHz: number;
  readonly lastRow: number;
}

export interface ComtradeConfig {
  readonly station: string;
  readonly device: string;
  readonly revision: number;
  readonly analogs: readonly RecordedChannel[];
  readonly digitals: number;
  readonly nominalHz: number;
  /** one after the other; empty: only the time stamps of the rows tell */
  readonly rates: readonly SamplingRate[];
  readonly rows: number;
  /** of the first row, on the recorder's own clock as if it were UTC, microseconds since the epoch */
  readonly firstUs: number;
  readonly form: DataForm;
  /** microseconds in a count of the rows' time stamps */
  readonly stampUs: number;
  /** local time minus UTC, minutes; undefined before the 2013 revision, which has no field for it */
  readonly offsetMin: number | undefined;
  /** time quality code 0 (locked) to 15 (clock failure); undefined where there is none */
  readonly timeQuality: number | undefined;
  /** a leap second fell into the recording, so its seconds may be told one off */
  readonly hasLeapSecond: boolean;
}

export type ConfigRead =
  | { readonly ok: true; readonly config: ComtradeConfig }
  | { readonly ok: false; readonly problems: readonly Problem[] };

/** Reads a configuration file; a fault names its line and field, `at` as `/cfg/LINE/FIELD`. */
export function readComtradeConfig(text: string): ConfigRead {
  const read = attempt(() => configOf(new Lines(text)));
  return 'value' in read ? { ok: true, config: read.value } : { ok: false, problems: [read.problem] };
}

function configOf(lines: Lines): ComtradeConfig {
  lines.next('station, device, revision year');
  const [station, device] = [lines.text(1), lines.text(2)];
  const revision = lines.has(3) ? lines.whole(3, 'the revision year') : 1991;
  lines.next('channel counts, as 6,4A,2D');
  const [analogCount, digitals] = [lines.count(2, 'A'), lines.count(3, 'D')];
  const analogs = Array.from({ length: analogCount }, () => analogOf(lines, revision));
  for (let k = 0; k < digitals; k++) lines.next('a digital channel');
  lines.next('the line frequency');
  const nominalHz = lines.positive(1, 'the line frequency');
  const sampling = samplingOf(lines);
  const first = instantOf(lines, 'date and time of the first sample', revision);
  lines.next('date and time of the trigger');
  const form = formOf(lines);
  const stampUs = first.unitUs * multiplierOf(lines, revision);
  const head = { station, device, revision, analogs, digitals, nominalHz, ...sampling };
  return Object.freeze({ ...head, firstUs: first.us, form, stampUs, ...clockOf(lines, revision) });
}

function analogOf(lines: Lines, revision: number): RecordedChannel {
  lines.next('an analog channel');
  const [a, b] = [lines.number(6, 'a of an analog channel'), lines.number(7, 'b of an analog channel')];
  const side = revision < 1999 ? undefined : sideOf(lines);
  const ratio = side === 'secondary' ? ratioOf(lines) : 1;
  return Object.freeze({
    id: lines.text(2),
    phase: lines.text(3),
    unit: lines.text(5),
    a: a * ratio,
    b: b * ratio,
    skewUs: lines.has(8) ? lines.number(8, 'skew of an analog channel') : 0,
    min: lines.has(9) ? lines.number(9, 'min of an analog channel') : Number.NEGATIVE_INFINITY,
    max: lines.has(10) ? lines.number(10, 'max of an analog channel') : Number.POSITIVE_INFINITY,
    side,
  });
}

function sideOf(lines: Lines): 'primary' | 'secondary' {
  const side = { P: 'primary', S: 'secondary' }[lines.text(13).toUpperCase()];
  if (side) return side as 'primary' | 'secondary';
  throw lines.wrong('side-wrong', `the side is ${JSON.stringify(lines.text(13))}`, 'P or S', 13);
}

function ratioOf(lines: Lines): number {
  const primary = lines.number(11, 'primary of an analog channel');
  return primary / lines.positive(12, 'secondary of an analog channel');
}

/** With no rate there is one line all the same: rate 0 and the last row. */
function samplingOf(lines: Lines): Pick<ComtradeConfig, 'rates' | 'rows'> {
  lines.next('the number of sampling rates');
  const count = lines.whole(1, 'the number of sampling rates');
  const rates: SamplingRate[] = [];
  let rows = 0;
  for (let k = 0; k < Math.max(1, count); k++) {
    lines.next('sampling rate, last sample');
    const rateHz = count === 0 ? lines.number(1, 'the sampling rate') : lines.positive(1, 'the sampling rate');
    const lastRow = lines.whole(2, 'the last sample');
    if (lastRow < rows)
      throw lines.wrong('rows-wrong', `the last sample ${lastRow} lies before ${rows}`, 'samples in order', 2);
    rows = lastRow;
    if (count > 0) rates.push({ rateHz, lastRow });
  }
  return { rates, rows };
}

const FORMS: readonly string[] = ['ASCII', 'BINARY', 'BINARY32', 'FLOAT32'] satisfies readonly DataForm[];

function formOf(lines: Lines): DataForm {
  lines.next('the data form');
  const form = lines.text(1).toUpperCase();
  if (FORMS.includes(form)) return form as DataForm;
  throw lines.wrong('form-unknown', `the data form is ${JSON.stringify(lines.text(1))}`, FORMS.join(', '), 1);
}

function multiplierOf(lines: Lines, revision: number): number {
  if (revision < 1999) return 1;
  lines.next('the time multiplier');
  return lines.has(1) ? lines.positive(1, 'the time multiplier') : 1;
}
