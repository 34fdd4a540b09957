/** Why a phase is not named, and what would settle it. */
import { wrap180 } from './angle';
import type { Reason } from './records';
import { slotOf } from './windings';

export function unknownPath(angleDeg: number): Reason {
  const slot = slotOf(angleDeg);
  return {
    code: 'vector-group-unknown',
    why: `the angle stands in slot ${slot} of 30 degrees (${wrap180(30 * slot)}), but the vector groups between reference and terminal are not known, and each turns every phase by a multiple of 30 degrees`,
    settle: 'state the vector groups on the way from reference to terminal (an empty list when there are none)',
  };
}

export function tooUncertain(sdDeg: number, limitDeg: number): Reason {
  return {
    code: 'uncertainty-too-large',
    why: `the angle is known to ${sdDeg.toFixed(1)} degrees; with these candidates ${limitDeg} are allowed`,
    settle: 'take several readings, use a better clock, calibrate the reference, or record the connection',
  };
}

export function fitsNothing(angleDeg: number, residualDeg: number, sdDeg: number): Reason {
  return {
    code: 'fits-no-phase',
    why: `${angleDeg.toFixed(1)} degrees is ${Math.abs(residualDeg).toFixed(1)} from the nearest phase, too far for a standard uncertainty of ${sdDeg.toFixed(1)}; it stands in slot ${slotOf(angleDeg)} of 30 degrees`,
    settle:
      'read again; check the vector groups on the way, the connection in the record and the offset of the reference',
  };
}

export function siteTurned(turnedDeg: number, sdDeg: number): Reason {
  return {
    code: 'site-turned',
    why: `all conductors of the site stand ${turnedDeg.toFixed(1)} degrees from where their phases would, too far for a standard uncertainty of ${sdDeg.toFixed(1)}`,
    settle:
      'only an error common to the site does that: check its clock, the offset of the reference and the vector groups on the way',
  };
}

export function ambiguousSite(probability: number): Reason {
  return {
    code: 'ambiguous',
    why: `the most probable arrangement of the conductors has a probability of ${(100 * probability).toFixed(1)} %`,
    settle: 'read all conductors of the site again, with a better clock or several times',
  };
}

export const SEQUENCE_UNPROVEN: Reason = Object.freeze({
  code: 'sequence-unproven',
  why: 'the angle fits only if the sequence at a transformer on the way is reversed',
  settle: 'read all three conductors of the site',
});

export const CONNECTION_UNPROVEN: Reason = Object.freeze({
  code: 'connection-unproven',
  why: 'the phase is the same for the connections that remain, but which connection it is stays open',
  settle: 'read the voltage in contact with the conductor, or record the connection',
});
