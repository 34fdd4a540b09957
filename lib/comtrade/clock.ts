/** What a recording says of its clock (time quality of IEEE C37.111-2013, from memory). */
import type { Clock } from '../records';
import type { ComtradeConfig } from './config';

interface ClockRule {
  readonly timeSource?: Clock['source'];
  readonly lockedErrorUs?: number;
}

/** Codes 1 to B of the 2013 revision: within 10^(code - 1) nanoseconds; 0 is locked, F not to be relied on. */
export function recordedClock(
  { timeQuality: quality, hasLeapSecond }: ComtradeConfig,
  rule: ClockRule,
): Clock | undefined {
  if (quality === undefined) return undefined;
  const source = rule.timeSource === undefined ? {} : { source: rule.timeSource };
  if (hasLeapSecond) return { ...source, locked: false, errorUs: 1e6 };
  if (quality > 11) return { ...source, locked: false };
  // The bound holds for the recording itself: nothing has to be added for the time since the source was lost.
  if (quality > 0) return { ...source, locked: false, errorUs: 10 ** (quality - 4), driftPpm: 0, holdoverS: 0 };
  return { ...source, locked: true, ...(rule.lockedErrorUs === undefined ? {} : { errorUs: rule.lockedErrorUs }) };
}
