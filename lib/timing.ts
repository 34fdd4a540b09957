/** What time does to an angle: clock errors, and angles carried from one instant to another. */
import { wrap180 } from './angle';
import type { Clock, Reason } from './records';

/**
 * Angle that a time error makes, 360 f dt, degrees. 1 us is 0.0216 degrees at 60 Hz and 0.018 at 50 Hz.
 * @param errorUs microseconds; a stamp that is late makes the angle too large
 * @example angleErrorDeg(1000, 60) // 21.6
 */
export function angleErrorDeg(errorUs: number, hz: number): number {
  return 360 * hz * errorUs * 1e-6;
}

/**
 * Time error that makes an angle, angle / (360 f), microseconds.
 * @example timeErrorUs(0.573, 60) // ~26.53
 */
export function timeErrorUs(angleDeg: number, hz: number): number {
  return (angleDeg / (360 * hz)) * 1e6;
}

/**
 * What an oscillator may have run off since its source was lost, microseconds: parts per million times seconds.
 * @example holdoverErrorUs({ driftPpm: 0.1, holdoverS: 600 }) // 60
 */
export function holdoverErrorUs({
  driftPpm,
  holdoverS,
}: {
  readonly driftPpm: number;
  readonly holdoverS: number;
}): number {
  return driftPpm * holdoverS;
}

/**
 * Standard error of a time stamp, microseconds, or null when nobody says: never a guess. Null for a missing clock, one without a stated
 * error, one that runs free or of unknown source, and one that has lost its source without saying since when and how it drifts.
 * In holdover sqrt(errorUs^2 + (driftPpm holdoverS)^2): the bound of the drift is taken as a standard error, which errs on the careful side.
 * @example clockErrorUs({ source: 'gnss', errorUs: 1.2, locked: true }) // 1.2
 * @example clockErrorUs({ source: 'holdover', errorUs: 3, driftPpm: 0.01, holdoverS: 400 }) // 5
 * @example clockErrorUs({ source: 'gnss', errorUs: 1.2, locked: false }) // null
 */
export function clockErrorUs(clock: Clock | undefined): number | null {
  if (clock?.errorUs === undefined || clockDoubt(clock)) return null;
  const { errorUs, driftPpm, holdoverS } = clock;
  if (driftPpm === undefined || holdoverS === undefined) return errorUs;
  return Math.hypot(errorUs, holdoverErrorUs({ driftPpm, holdoverS }));
}

/**
 * Why the standard error of a clock is not known, and what would settle it; undefined when it is known.
 * @example clockDoubt({ source: 'gnss', errorUs: 1.2, locked: false }).code // 'clock-unlocked'
 * @example clockDoubt({ source: 'gnss', errorUs: 1.2, locked: true }) // undefined
 */
export function clockDoubt(clock: Clock | undefined): Reason | undefined {
  if (clock === undefined) return DOUBT.missing;
  if (clock.source === 'free-running' || clock.source === 'unknown') return DOUBT[clock.source];
  if (!isBound(clock.errorUs)) return DOUBT.unstated;
  const isHeld = isBound(clock.driftPpm) && isBound(clock.holdoverS);
  const isLost = clock.locked === false || clock.source === 'holdover' || (clock.holdoverS ?? 0) > 0;
  return isLost && !isHeld ? DOUBT.unlocked : undefined;
}

const isBound = (x: number | undefined): boolean => x !== undefined && x >= 0 && x < Number.POSITIVE_INFINITY;

const doubt = (code: string, why: string, settle: string): Reason => Object.freeze({ code, why, settle });
const DOUBT = {
  missing: doubt('clock-missing', 'the reading says nothing of its clock', 'send the clock with each reading'),
  unstated: doubt(
    'clock-error-unstated',
    'the clock does not state its error',
    'send the standard error of the time stamp',
  ),
  unknown: doubt(
    'clock-source-unknown',
    'the clock does not know its time source',
    'read again with a known time source',
  ),
  'free-running': doubt(
    'clock-free-running',
    'the clock follows no time source',
    'let it lock to a time source and read again',
  ),
  unlocked: doubt(
    'clock-unlocked',
    'the clock has lost its time source and does not say since when and how far it may drift',
    'let it lock and read again, or send the holdover time and the bound of its drift',
  ),
};

/**
 * An angle against UTC at another instant: it turns by 360 (f - f0) dt. Degrees in [-180, 180).
 * @param measuredHz frequency over the time between the two instants
 * @example carryForward(10, 0, 1e6, 59.98, 60) // 2.8
 */
export function carryForward(
  angleDeg: number,
  fromUs: number,
  toUs: number,
  measuredHz: number,
  nominalHz: number,
): number {
  return wrap180(angleDeg + 360 * (measuredHz - nominalHz) * (toUs - fromUs) * 1e-6);
}
