/** Whole feeders as the board's routes tell of them. */
import type { FeederPicture } from '../../../../lib/feeder/picture';
import type { Correction, Trace } from '../../../../lib/records';

export interface FeederName {
  readonly id: string;
  readonly name: string;
  readonly sections: number;
}

export interface FeederAnswer {
  readonly picture: FeederPicture;
  /** null while nothing is known of it */
  readonly trace: Trace | null;
  readonly formats: readonly string[];
  /** newest first */
  readonly decisions: readonly Correction[];
}

/** Below this nothing is told as more than not proven, and no correction is offered. */
export const OFFERED = 0.95;
/** From this on a section's phases are settled. */
export const SETTLED = 0.99;

export const strength = (p: number): string => (p >= SETTLED ? 'settled' : p >= OFFERED ? 'likely' : 'not proven');

/** 0.98, 0.995; cut, not rounded up: nothing is told as surer than it is. */
export const probability = (p: number): string =>
  p >= 0.999
    ? '> 0.999'
    : p >= 0.99
      ? (Math.floor(1000 * p) / 1000).toFixed(3)
      : (Math.floor(100 * p) / 100).toFixed(2);
