/** Published limits of voltage unbalance, each with the measure it speaks of, and figures held against them. */
import type { Reason } from './records';

export type UnbalanceMeasure = 'negative-sequence' | 'line-voltage';

export interface UnbalanceLimit {
  readonly document: string;
  readonly limitPct: number;
  readonly measure: UnbalanceMeasure;
  /** where, and over which time, the limit holds */
  readonly window: string;
}

const limit = (document: string, limitPct: number, measure: UnbalanceMeasure, window: string): UnbalanceLimit =>
  Object.freeze({ document, limitPct, measure, window });

/** EN 50160 (read): some areas are allowed 3 % (from memory). C84.1 Annex C (read in quotation). MG-1 (read in quotation). */
export const UNBALANCE_LIMITS: readonly UnbalanceLimit[] = Object.freeze([
  limit('EN 50160', 2, 'negative-sequence', '95 % of the 10-minute means of a week'),
  limit('ANSI C84.1 Annex C', 3, 'line-voltage', 'at the revenue meter at no load'),
  limit('NEMA MG-1', 1, 'line-voltage', 'motor terminals, without derating'),
  limit('NEMA MG-1', 5, 'line-voltage', 'motor terminals, operation not recommended above'),
]);

/**
 * The limits that a figure of the given measure exceeds. A momentary figure says only that the limit is worth watching.
 * @example limitsExceeded('negative-sequence', 2.4)[0].document // 'EN 50160'
 * @example limitsExceeded('line-voltage', 0.9).length // 0
 */
export function limitsExceeded(measure: UnbalanceMeasure, pct: number): readonly UnbalanceLimit[] {
  return UNBALANCE_LIMITS.filter((l) => l.measure === measure && pct > l.limitPct);
}

export interface WeekOfUnbalance {
  readonly verdict: 'within' | 'exceeded' | 'not-proven';
  readonly limitPct: number;
  /** 10-minute means that are numbers */
  readonly measured: number;
  readonly above: number;
  readonly reasons: readonly Reason[];
}

const WEEK = 7 * 24 * 6;
const SHARE = 0.95;

/**
 * A week of 10-minute means of V2/V1 in percent against EN 50160: 95 % of the 1008 must not be above the limit.
 * Missing means (fewer, or NaN) leave it not proven unless they could not change the outcome.
 * @param limitPct 2; 3 where the national rules allow it
 * @throws RangeError for more than 1008 means
 * @example unbalanceOfWeek(Array(1008).fill(1.2)).verdict // 'within'
 * @example unbalanceOfWeek(Array(51).fill(2.5)).verdict // 'exceeded'
 */
export function unbalanceOfWeek(meansPct: readonly number[], limitPct = 2): WeekOfUnbalance {
  if (meansPct.length > WEEK) {
    throw new RangeError(`unbalanceOfWeek: a week has ${WEEK} means of 10 minutes, got ${meansPct.length}`);
  }
  const known = meansPct.filter((m) => m >= 0 && Number.isFinite(m));
  const above = known.filter((m) => m > limitPct).length;
  const base = { limitPct, measured: known.length, above, reasons: Object.freeze([] as Reason[]) };
  if (above > (1 - SHARE) * WEEK) return Object.freeze({ verdict: 'exceeded', ...base });
  if (known.length - above >= SHARE * WEEK) return Object.freeze({ verdict: 'within', ...base });
  const reason = Object.freeze({
    code: 'week-incomplete',
    why: `${known.length} of the ${WEEK} means of the week are known, and those missing could change the outcome`,
    settle: 'record a whole week',
  });
  return Object.freeze({ verdict: 'not-proven', ...base, reasons: Object.freeze([reason]) });
}
