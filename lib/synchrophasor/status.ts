/** What STAT and FRACSEC say of a PMU's values and of its time (IEEE C37.118.2-2011, 6.2.2 and 6.3; from memory). */
import type { Clock } from '../records';
import type { FrameTime } from './types';

export interface PmuStatus {
  /** bits 15 and 14. 0 good, 1 PMU error, 2 test mode or no values, 3 values must not be used */
  readonly dataError: 0 | 1 | 2 | 3;
  /** bit 13 clear: in step with a source traceable to UTC */
  readonly inSync: boolean;
  /** bit 12: sorted by arrival, so the stamp is not that of the values */
  readonly byArrival: boolean;
  /** bit 11 */
  readonly triggered: boolean;
  /** bit 10: the configuration is about to change; clears when the change takes effect */
  readonly configChange: boolean;
  /** bit 9: changed after they were measured */
  readonly modified: boolean;
  /** bits 8 to 6, PMU_TQ: 0 not used, 1 to 6 within 100 ns to 10 ms by decades, 7 worse or not known */
  readonly timeQuality: number;
  /** bits 5 and 4: unlocked for 0 less than 10 s, 1 up to 100 s, 2 up to 1000 s, 3 longer */
  readonly unlocked: 0 | 1 | 2 | 3;
  /** bits 3 to 0 */
  readonly triggerReason: number;
}

/** @example readStatus(0x2030).inSync // false */
export function readStatus(stat: number): PmuStatus {
  return {
    dataError: ((stat >> 14) & 3) as PmuStatus['dataError'],
    inSync: (stat & 0x2000) === 0,
    byArrival: (stat & 0x1000) !== 0,
    triggered: (stat & 0x0800) !== 0,
    configChange: (stat & 0x0400) !== 0,
    modified: (stat & 0x0200) !== 0,
    timeQuality: (stat >> 6) & 7,
    unlocked: ((stat >> 4) & 3) as PmuStatus['unlocked'],
    triggerReason: stat & 0x0f,
  };
}

/**
 * Largest error of the stamp by MSG_TQ, the low four bits of the time quality, microseconds: 0 locked (no figure), 1 to 11 for 1 ns to
 * 10 s by decades. Infinite: not reliable, or a code the standard does not use.
 * @example messageErrorUs(4) // 1
 */
export function messageErrorUs(quality: number): number {
  const code = quality & 0x0f;
  if (code === 0) return 0;
  return code <= 11 ? decade(code - 4) : Number.POSITIVE_INFINITY;
}

/**
 * Largest error of the stamp by PMU_TQ, microseconds; undefined: not used. Infinite: worse than 10 ms or not known.
 * @example pmuErrorUs(2) // 1
 */
export function pmuErrorUs(code: number): number | undefined {
  if (code === 0) return undefined;
  return code < 7 ? decade(code - 2) : Number.POSITIVE_INFINITY;
}

/**
 * Whether the second is one that a leap second makes doubtful: the last of a day with one announced (bit 4 of the time quality), the first
 * of a day with one just past (bit 5). Whether a sender repeats a second, and which, is not agreed; from memory of 6.2.2.
 */
export function isLeapSecond({ soc, quality }: FrameTime): boolean {
  const ofDay = soc % 86_400;
  return ((quality & 0x10) !== 0 && ofDay === 86_399) || ((quality & 0x20) !== 0 && ofDay === 0);
}

const decade = (power: number): number => Number(`1e${power}`);

const UNLOCKED_S = [0, 10, 100, 1000] as const;

export interface ClockRule {
  /** what the PMU's time comes from, where it is known: the frames do not say */
  readonly source?: Clock['source'];
  /** standard error of the stamp of a PMU that is locked and states no figure, microseconds; left out: not known */
  readonly lockedErrorUs?: number;
}

/**
 * Clock of a reading. The larger of the two bounds is taken as the standard error, which errs on the careful side. Without any bound, with
 * one that is not known and for values sorted by arrival the error is left out: then no absolute phase can be judged.
 * `holdoverS` is the least that the unlocked time can be; a PMU that is not in sync is not locked.
 */
export function clockOf(status: PmuStatus, quality: number, rule: ClockRule = {}): Clock {
  const isInStep = status.inSync && status.unlocked === 0;
  const isLocked = isInStep && (quality & 0x0f) === 0;
  const errorUs = status.byArrival ? undefined : stampErrorUs(status, quality, isInStep, rule);
  const source = rule.source === undefined ? {} : { source: rule.source };
  if (isLocked) return { ...source, ...(errorUs === undefined ? {} : { errorUs }), locked: true };
  // A stated bound holds for this very instant: nothing has to be added for the time since the source was lost.
  const bound = errorUs === undefined ? {} : { errorUs, driftPpm: 0 };
  return { ...source, ...bound, locked: false, holdoverS: UNLOCKED_S[status.unlocked] };
}

/** MSG_TQ is that of the sender of the frame, which may be a concentrator: it does not speak for a PMU that is out of step. */
function stampErrorUs(status: PmuStatus, quality: number, isInStep: boolean, rule: ClockRule): number | undefined {
  const byPmu = pmuErrorUs(status.timeQuality);
  if (byPmu === undefined && !isInStep) return undefined;
  const worst = Math.max(byPmu ?? 0, messageErrorUs(quality));
  if (worst > 1e9) return undefined;
  return worst > 0 ? worst : rule.lockedErrorUs;
}
