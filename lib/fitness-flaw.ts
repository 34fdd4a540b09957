/** What can be held against a reading, and what it may then not be used for. */
import type { Reason } from './records';

export interface Uses {
  /** the angle may be compared with the reference: its time is known and within budget */
  readonly absolutePhase: boolean;
  /** the angle may be compared with others of the same instrument and visit */
  readonly relative: boolean;
  /** the voltage may be used */
  readonly magnitude: boolean;
}

export const EVERY_USE = ['absolutePhase', 'relative', 'magnitude'] as const;

/** Something held against a reading, and the uses it takes away. */
export interface Flaw {
  readonly reason: Reason;
  readonly forbids: readonly (keyof Uses)[];
}

export function flaw(forbids: Flaw['forbids'], code: string, why: string, settle: string): Flaw {
  return { reason: Object.freeze({ code, why, settle }), forbids };
}
