/** Angles read at their own instants, made comparable with each other. */
import { wrap180 } from './angle';
import type { Frame } from './frame';
import { takenAtUs } from './reading';
import type { Reason } from './records';
import type { AngleSample } from './sample';

export interface ComparableAngles {
  /** in the order of the samples, lead positive, degrees; only differences mean anything */
  readonly angleDeg: readonly number[];
  /** what carrying each angle to the common instant adds, standard uncertainty in degrees */
  readonly carrySdDeg: readonly number[];
}

export type ComparableResult =
  | { readonly ok: true; readonly angles: ComparableAngles }
  | { readonly ok: false; readonly reasons: readonly Reason[] };

/** Standard uncertainty of a stated frequency: the steady-state limit of IEC/IEEE 60255-118-1 (from memory). */
export const STATED_FREQUENCY_SD_HZ = 0.005;
/** Standard uncertainty when none is stated: a large grid keeps within 50 mHz of nominal most of the time (from memory). */
export const UNSTATED_FREQUENCY_SD_HZ = 0.05;
/** Rate of change of frequency allowed for between readings, Hz/s. */
const ROCOF_HZ_S = 0.05;
/** A carried angle that is less sure than this is no longer evidence, degrees. */
const CARRY_LIMIT_DEG = 3;

/**
 * Angles against one reference compare as they are. Angles against UTC turn at 360 (f - f0) degrees a second (synchrophasor
 * sense), so they are carried to the middle of their instants at the stated frequency, with its uncertainty.
 */
export function comparableAngles(samples: readonly AngleSample[], frame: Frame): ComparableResult {
  const against = samples[0]?.against;
  if (against === undefined || samples.some((s) => s.against !== against)) {
    return { ok: false, reasons: [AGAINST_DIFFERS] };
  }
  const sign = frame.sense === 'lag' ? -1 : 1;
  if (against !== 'utc') {
    const angleDeg = samples.map((s) => wrap180(sign * s.angleDeg));
    return { ok: true, angles: { angleDeg, carrySdDeg: samples.map(() => 0) } };
  }
  const carried = carry(samples, frame);
  const worstDeg = Math.max(...carried.map((c) => c.sdDeg));
  if (worstDeg > CARRY_LIMIT_DEG) return { ok: false, reasons: [instantsDiffer(samples, worstDeg)] };
  return {
    ok: true,
    angles: {
      angleDeg: samples.map((s, i) => wrap180(sign * s.angleDeg + carried[i]!.turnDeg)),
      carrySdDeg: carried.map((c) => c.sdDeg),
    },
  };
}

function carry(samples: readonly AngleSample[], frame: Frame): { turnDeg: number; sdDeg: number }[] {
  const stated = samples.flatMap(({ reading }) => (reading.frequencyHz === undefined ? [] : [reading.frequencyHz]));
  const frequencyHz = stated.length > 0 ? stated.reduce((a, b) => a + b, 0) / stated.length : frame.nominalHz;
  const sdHz = stated.length > 0 ? STATED_FREQUENCY_SD_HZ : UNSTATED_FREQUENCY_SD_HZ;
  const instants = samples.map(({ reading }) => takenAtUs(reading));
  const middleUs = (Math.min(...instants) + Math.max(...instants)) / 2;
  return instants.map((us) => {
    const seconds = (middleUs - us) / 1e6;
    return {
      turnDeg: 360 * (frequencyHz - frame.nominalHz) * seconds,
      sdDeg: Math.hypot(360 * sdHz * seconds, 180 * ROCOF_HZ_S * seconds ** 2),
    };
  });
}

const AGAINST_DIFFERS: Reason = Object.freeze({
  code: 'against-differs',
  why: 'the angles were not all read against the same thing',
  settle: 'read all against the same reference, or hold each against a reference of its own instant',
});

function instantsDiffer(samples: readonly AngleSample[], sdDeg: number): Reason {
  const instants = samples.map(({ reading }) => takenAtUs(reading));
  const spanS = (Math.max(...instants) - Math.min(...instants)) / 1e6;
  return {
    code: 'instants-differ',
    why: `the angles were read against UTC over ${spanS.toPrecision(3)} s; carrying them to one instant leaves ${sdDeg.toFixed(1)} degrees of doubt, ${CARRY_LIMIT_DEG} are allowed`,
    settle: 'hold each reading against a reference of its own instant, or read at one instant',
  };
}
