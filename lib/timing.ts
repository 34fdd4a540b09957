/** What time does to an angle: clock errors, and angles carried from one instant to another. */
import { wrap180 } from './angle';
import type { Clock } from './records';

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
 * @example clockErrorUs({ source: 'gnss', errorUs: 1.2, locked: true }) // 1.2
 * @example clockErrorUs({ source: 'gnss', errorUs: 1.2, locked: false }) // null
 */
export function clockErrorUs(clock: Clock | undefined): number | null {
  if (clock?.errorUs === undefined || clock.source === 'free-running' || clock.source === 'unknown') return null;
  const held = clock.holdoverS !== undefined && clock.driftPpm !== undefined;
  const lost = clock.locked === false || clock.source === 'holdover' || (clock.holdoverS ?? 0) > 0;
  if (lost && !held) return null;
  return held
    ? Math.hypot(clock.errorUs, holdoverErrorUs({ driftPpm: clock.driftPpm!, holdoverS: clock.holdoverS! }))
    : clock.errorUs;
}

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
