/** The configuration file of IEEE C37.111 (1991, 1999, 2013 revisions), from memory of the standard. */
import type { Problem } from '../records';

export interface AnalogChannel {
  readonly id: string;
  readonly phase: string;
  readonly unit: string;
  /** primary value of a count: a * count + b */
  readonly a: number;
  readonly b: number;
  /** the channel is sampled this much after the time of the row, microseconds */
  readonly skewUs: number;
  readonly min: number;
  readonly max: number;
}

export type DataForm = 'ASCII' | 'BINARY' | 'BINARY32' | 'FLOAT32';

export interface ComtradeConfig {
  readonly station: string;
  readonly device: string;
  readonly revision: number;
  readonly analogs: readonly AnalogChannel[];
  readonly digitals: number;
  readonly nominalHz: number;
  readonly rateHz: number;
  readonly rows: number;
  /** of the first row, on the recorder's own clock as if it were UTC, microseconds since the epoch */
  readonly firstUs: number;
  readonly form: DataForm;
  /** local time minus UTC, minutes; undefined before the 2013 revision, which has no field for it */
  readonly offsetMin: number | undefined;
  /** time quality code 0 (locked) to 15 (clock failure); undefined where there is none */
  readonly timeQuality: number | undefined;
}

export type ConfigRead =
  | { readonly ok: true; readonly config: ComtradeConfig }
  | { readonly ok: false; readonly problems: readonly Problem[] };

class Wrong extends Error {
  constructor(readonly problem: Problem) {
    super(problem.what);
  }
}

const MOST_CHANNELS = 999_999;

/** Reads a configuration file; a fault names its line. One sampling rate is understood, records by time stamps alone are not. */
export function readComtradeConfig(text: string): ConfigRead {
  try {
    return { ok: true, config: configOf(new Lines(text)) };
  } catch (cause) {
    if (cause instanceof Wrong) return { ok: false, problems: [cause.problem] };
    throw cause;
  }
}

function configOf(lines: Lines): ComtradeConfig {
  const [station = '', device = '', year = '1991'] = lines.next('station, device, revision year');
  const revision = Number(year || '1991');
  const [, analogText = '', digitalText = ''] = lines.next('channel counts, as 6,4A,2D');
  const analogCount = lines.count(analogText, 'A');
  const digitals = lines.count(digitalText, 'D');
  const analogs = Array.from({ length: analogCount }, () => analogOf(lines));
  for (let k = 0; k < digitals; k++) lines.next('a digital channel');
  const nominalHz = lines.positive(lines.next('the line frequency')[0], 'the line frequency');
  const rates = lines.number(lines.next('the number of sampling rates')[0], 'the number of sampling rates');
  if (rates !== 1) throw lines.wrong('rates-unsupported', `${rates} sampling rates`, 'one sampling rate');
  const [rateText, rowsText] = lines.next('sampling rate, last sample');
  const rateHz = lines.positive(rateText, 'the sampling rate');
  const rows = lines.number(rowsText, 'the last sample');
  const firstUs = lines.instant(lines.next('date and time of the first sample'));
  lines.next('date and time of the trigger');
  const form = (lines.next('the data form')[0] ?? '').toUpperCase();
  if (!['ASCII', 'BINARY', 'BINARY32', 'FLOAT32'].includes(form))
    throw lines.wrong('form-unknown', `the data form is ${form}`, 'ASCII, BINARY, BINARY32 or FLOAT32');
  const rest = {
    station,
    device,
    revision,
    analogs,
    digitals,
    nominalHz,
    rateHz,
    rows,
    firstUs,
    form: form as DataForm,
  };
  return Object.freeze({ ...rest, ...clockOf(lines, revision) });
}

function analogOf(lines: Lines): AnalogChannel {
  const f = lines.next('an analog channel');
  const a = lines.number(f[5], 'a of an analog channel');
  const b = lines.number(f[6], 'b of an analog channel');
  const isSecondary = (f[12] ?? '').toUpperCase() === 'S';
  const ratio = isSecondary
    ? lines.number(f[10], 'primary of an analog channel') / lines.number(f[11], 'secondary of an analog channel')
    : 1;
  if (!Number.isFinite(ratio)) throw lines.wrong('number-wrong', 'the secondary is 0', 'a transformer ratio');
  return Object.freeze({
    id: f[1] ?? '',
    phase: f[2] ?? '',
    unit: f[4] ?? '',
    a: a * ratio,
    b: b * ratio,
    skewUs: f[7] ? lines.number(f[7], 'skew of an analog channel') : 0,
    min: f[8] ? lines.number(f[8], 'min of an analog channel') : Number.NEGATIVE_INFINITY,
    max: f[9] ? lines.number(f[9], 'max of an analog channel') : Number.POSITIVE_INFINITY,
  });
}

function clockOf(lines: Lines, revision: number): Pick<ComtradeConfig, 'offsetMin' | 'timeQuality'> {
  if (!(revision >= 2013)) return { offsetMin: undefined, timeQuality: undefined };
  lines.next('the time multiplier');
  const [code = ''] = lines.next('time code, local code');
  const m = /^([+-]?)(\d{1,2})(?:h(\d{2}))?$/i.exec(code);
  const [quality = ''] = lines.next('time quality, leap second');
  return {
    offsetMin: m ? (m[1] === '-' ? -1 : 1) * (Number(m[2]) * 60 + Number(m[3] ?? 0)) : undefined,
    timeQuality: /^[0-9a-f]$/i.test(quality) ? Number.parseInt(quality, 16) : undefined,
  };
}

/** The lines of the file, one after the other, each cut at its commas. */
class Lines {
  private readonly lines: readonly string[];
  private at = 0;

  constructor(text: string) {
    this.lines = text.split(/\r\n|\n|\r/);
  }

  next(what: string): readonly string[] {
    const line = this.lines[this.at++];
    if (line === undefined || (line.trim() === '' && this.at === this.lines.length))
      throw this.wrong('line-missing', 'the file ends', what);
    return line.split(',').map((f) => f.trim());
  }

  number(text: string | undefined, what: string): number {
    const value = Number(text);
    if (text === undefined || text === '' || !Number.isFinite(value))
      throw this.wrong('number-wrong', `${what} is ${JSON.stringify(text ?? null)}`, 'a number');
    return value;
  }

  positive(text: string | undefined, what: string): number {
    const value = this.number(text, what);
    if (value > 0) return value;
    throw this.wrong('number-wrong', `${what} is ${value}`, 'a number above 0');
  }

  count(text: string, letter: string): number {
    const m = new RegExp(`^(\\d{1,6})${letter}$`, 'i').exec(text);
    if (!m || Number(m[1]) > MOST_CHANNELS)
      throw this.wrong('count-wrong', `the count is ${JSON.stringify(text)}`, `a number and ${letter}`);
    return Number(m[1]);
  }

  /** dd/mm/yyyy, hh:mm:ss.ssssss */
  instant([date = '', time = '']: readonly string[]): number {
    const d = /^(\d{1,2})\/(\d{1,2})\/(\d{4})$/.exec(date);
    const t = /^(\d{1,2}):(\d{1,2}):(\d{1,2}(?:\.\d{1,9})?)$/.exec(time);
    if (!d || !t) throw this.wrong('time-wrong', `${date},${time}`, 'dd/mm/yyyy,hh:mm:ss.ssssss');
    const dayMs = Date.UTC(Number(d[3]), Number(d[2]) - 1, Number(d[1]), Number(t[1]), Number(t[2]));
    return dayMs * 1000 + Math.round(Number(t[3]) * 1e6);
  }

  wrong(code: string, what: string, expected: string): Wrong {
    return new Wrong({ at: '', code, what: `line ${this.at}: ${what}`, expected });
  }
}
