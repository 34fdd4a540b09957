/** What a person may set for the comparison of an open point. */
import type { Frame } from './frame';
import type { CommonConductor } from './open-point-proof';
import type { VisitContext } from './visit-angles';

/**
 * Synchronising bands by size that may serve as tolerances: IEEE Std 1547-2018 Table 5, from memory. Data, not advice.
 */
export const IEEE_1547_BANDS = Object.freeze([
  Object.freeze({ aboveKva: 0, uptoKva: 500, frequencyHz: 0.3, voltagePct: 10, angleDeg: 20 }),
  Object.freeze({ aboveKva: 500, uptoKva: 1500, frequencyHz: 0.2, voltagePct: 5, angleDeg: 15 }),
  Object.freeze({ aboveKva: 1500, uptoKva: null, frequencyHz: 0.1, voltagePct: 3, angleDeg: 10 }),
]);

export interface CompareOptions extends VisitContext {
  readonly openPoint: string;
  readonly frame: Frame;
  /** largest standing angle that still counts as the same phase, degrees; 10 when left out */
  readonly toleranceDeg?: number;
  /** time within which everything must have been read, seconds; 600 when left out */
  readonly windowS?: number;
  /** least proof of a common time for `same-phase`; attested-time when left out */
  readonly requireProof?: 'attested-time' | 'common-conductor';
  readonly proof?: CommonConductor;
  /** a side that a person states to be live, where no voltage was read */
  readonly live?: { readonly left?: boolean; readonly right?: boolean };
  /** standard uncertainty of a voltage, percent; 2 when left out */
  readonly voltageSdPct?: number;
}

export const DEFAULT_TOLERANCE_DEG = 10;
export const DEFAULT_WINDOW_S = 600;
