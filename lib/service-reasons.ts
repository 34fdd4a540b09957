/** Why the kind of a service is not decided, or decided with a reservation. */
import type { Reason } from './records';

const reason = (code: string, why: string, settle: string): Reason => Object.freeze({ code, why, settle });

export const NOT_NUMBERS = reason(
  'voltage-not-a-number',
  'a voltage or an angle is not a finite number, or a voltage is negative',
  'read again',
);
export const WRONG_NUMBER = reason(
  'wrong-number-of-readings',
  'needed are two or three legs to the neutral, or three voltages between legs; no more voltages between legs than there are pairs',
  'read every leg to the neutral, and between the legs',
);
export const NO_NEUTRAL = reason(
  'legs-without-neutral',
  'legs were read to a neutral that is said not to be there',
  'give voltages between the legs only, or state that there is a neutral',
);
export const NO_VOLTAGE = reason(
  'no-voltage-read',
  'a leg shows next to no voltage; that proves nothing about the absence of voltage',
  'look for an open fuse or a poor contact and read again; test for the absence of voltage by local rules',
);
export const NONE_FITS = reason(
  'no-service-fits',
  'the voltages and angles fit none of the services known here',
  'check what each voltage was read between, and read again',
);
export const SHARED = reason(
  'legs-share-a-phase',
  'two of the legs stand on one phase, or one was read twice',
  'check that different conductors were read, then read again',
);
export const MAY_SHARE = reason(
  'legs-may-share-a-phase',
  'legs that share a phase would show the same voltages',
  'read between the legs, or read their angles',
);
export const SEVERAL = reason(
  'several-services-fit',
  'more than one service fits',
  'read between all legs, and their angles',
);
export const NEUTRAL_UNKNOWN = reason(
  'neutral-not-stated',
  'services with and without a neutral fit',
  'read each leg to the neutral, or state that there is none',
);
export const OPEN_DELTA = reason(
  'open-or-closed-delta',
  'an open delta, or a star whose neutral is not brought out, shows the same voltages',
  'look at the transformers',
);
export const TO_NEUTRAL = reason(
  'neutral-not-proven',
  'an ungrounded three-wire system read to earth can show the same voltages',
  'check that the legs were read to a neutral conductor',
);
