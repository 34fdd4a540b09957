/** What can be held against a reference, with the figures behind it. */
import type { Reason } from './records';

/** A reason with the figures behind it. */
export interface WatchFinding extends Reason {
  readonly value: number;
  readonly limit: number;
  readonly unit: 'deg/s' | 'deg' | 'Hz' | 's';
}

export function turning(other: string, slopeDegS: number, limit: number): WatchFinding {
  const mHz = (slopeDegS / 0.36).toFixed(1);
  return {
    code: 'reference-not-synchronous',
    why: `the reference turns against ${other} at ${slopeDegS.toFixed(2)} degrees a second (${mHz} mHz)`,
    settle: 'check whether the reference station is islanded or on a backup supply; use another reference',
    value: slopeDegS,
    limit,
    unit: 'deg/s',
  };
}

export function stepped(other: string, stepDeg: number, limit: number): WatchFinding {
  return {
    code: 'reference-stepped',
    why: `the angle between the reference and ${other} stepped by ${stepDeg.toFixed(1)} degrees`,
    settle: 'find out which of the two moved (clock, switching, transformer change); calibrate the reference again',
    value: stepDeg,
    limit,
    unit: 'deg',
  };
}

export function movedSpot(terminal: string, movedDeg: number, apartS: number, limit: number): WatchFinding {
  return {
    code: 'spot-readings-disagree',
    why: `two readings of ${terminal} ${apartS.toFixed(0)} s apart differ by ${movedDeg.toFixed(1)} degrees against the reference`,
    settle:
      'do not use the reference until it is shown to be synchronous; read the conductor again against another reference',
    value: movedDeg,
    limit,
    unit: 'deg',
  };
}

export function apart(referenceHz: number, fieldHz: number, limit: number): WatchFinding {
  return {
    code: 'frequencies-disagree',
    why: `the reference has ${referenceHz.toFixed(3)} Hz and the field ${fieldHz.toFixed(3)} Hz in the same second`,
    settle: 'check whether the reference station or the field is islanded or on a backup supply',
    value: referenceHz - fieldHz,
    limit,
    unit: 'Hz',
  };
}

export const silent = (why: string, value: number, limit: number): WatchFinding => ({
  code: 'reference-stale',
  why,
  settle: 'restore the stream of the reference, then read again',
  value,
  limit,
  unit: 's',
});
