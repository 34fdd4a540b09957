/** Why the readings of a conductor give no angle, and what would settle it. */
import type { Reason } from './records';

export const NO_ANGLE: Reason = Object.freeze({
  code: 'no-angle',
  why: 'the reading has no angle',
  settle: 'read the angle against a reference or UTC',
});

export const NOT_ALIGNED: Reason = Object.freeze({
  code: 'not-aligned',
  why: 'the angle was read against UTC and no reference reading of the same instant was found',
  settle: 'bring in the stream of a reference for that instant, or read again while one is running',
});

export const MIXED: Reason = Object.freeze({
  code: 'references-mixed',
  why: 'the readings were taken against different references',
  settle: 'judge the readings of each reference by themselves',
});

export function readingsDisagree(terminal: string, angles: readonly number[]): Reason {
  const shown = angles.map((a) => a.toFixed(1)).join(', ');
  return {
    code: 'readings-disagree',
    why: `the readings of ${terminal} do not agree with each other: ${shown} degrees`,
    settle: `read ${terminal} again, twice, and check that the terminal is the right one`,
  };
}

export function referenceUnknown(against: string, frameId: string): Reason {
  return {
    code: 'reference-unknown',
    why: `the angle was read against ${against}, which is not a reference of frame ${frameId}`,
    settle: `add ${against} to the references of the frame, or read against one of them`,
  };
}
