/** Stretches of a recording whose samples are evenly spaced. */
import type { Problem } from '../records';
import type { ComtradeConfig, SamplingRate } from './config';

export interface Stretch {
  /** row, from 0 */
  readonly from: number;
  readonly rows: number;
  readonly rateHz: number;
  /** of its first row, after the first row of the recording, microseconds */
  readonly afterUs: number;
}

export type Stretches =
  | { readonly ok: true; readonly stretches: readonly Stretch[] }
  | { readonly ok: false; readonly problems: readonly Problem[] };

/**
 * By the sampling rates, which the standard says are to be used where they are given: a row follows the one before it by the rate that
 * is its own. Where there is none, by the time stamps: a stretch ends where the next one does not follow evenly.
 */
export function stretchesOf(config: ComtradeConfig, stamps: Float64Array): Stretches {
  if (config.rates.length > 0) return { ok: true, stretches: byRate(config.rates) };
  const missing = stamps.findIndex((t) => Number.isNaN(t));
  if (missing < 0) return { ok: true, stretches: byStamp(stamps, config.stampUs) };
  const what = `row ${missing + 1} has no time stamp, and the configuration no sampling rate`;
  return {
    ok: false,
    problems: [{ at: `/dat/${missing + 1}/2`, code: 'stamp-missing', what, expected: 'a time stamp in every row' }],
  };
}

function byRate(rates: readonly SamplingRate[]): Stretch[] {
  let [from, afterUs] = [0, 0];
  return rates.map(({ rateHz, lastRow }, k) => {
    const stretch = { from, rows: lastRow - from, rateHz, afterUs };
    const next = rates[k + 1]?.rateHz ?? rateHz;
    if (stretch.rows > 0) afterUs += ((stretch.rows - 1) * 1e6) / rateHz + 1e6 / next;
    from = lastRow;
    return stretch;
  });
}

function byStamp(stamps: Float64Array, stampUs: number): Stretch[] {
  const made: Stretch[] = [];
  for (let from = 0; from + 1 < stamps.length; ) {
    const end = endOf(stamps, from);
    const stepUs = ((stamps[end - 1]! - stamps[from]!) * stampUs) / (end - 1 - from);
    const afterUs = (stamps[from]! - stamps[0]!) * stampUs;
    if (stepUs > 0) made.push({ from, rows: end - from, rateHz: 1e6 / stepUs, afterUs });
    from = end;
  }
  return made;
}

/** Stamps are whole counts, so one may be a count off either way; a clock may wander a little beside. */
const ROUNDING = 1.5;
const WANDER = 0.02;

function endOf(stamps: Float64Array, from: number): number {
  let end = from + 2;
  for (; end < stamps.length; end++) {
    const mean = (stamps[end - 1]! - stamps[from]!) / (end - 1 - from);
    const step = stamps[end]! - stamps[end - 1]!;
    if (!(Math.abs(step - mean) <= ROUNDING + WANDER * mean)) break;
  }
  return Math.min(end, stamps.length);
}
