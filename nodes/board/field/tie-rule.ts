/** What the tie check asks of a comparison, so that the field page never says more than the record will. */

export interface TieRule {
  /** largest standing angle that still counts as the same phase, degrees */
  readonly toleranceDeg: number;
  /** time within which both sides must have been read, seconds */
  readonly windowS: number;
  /** least proof of a common time for the same phase */
  readonly requireProof: 'attested-time' | 'common-conductor';
}

/** Without a tie check nobody has said that less is enough. */
export const STRICT: TieRule = { toleranceDeg: 10, windowS: 600, requireProof: 'common-conductor' };

/**
 * The rule that satisfies each of several tie checks; STRICT when there is none.
 * @example strictest([{ ...STRICT, windowS: 300 }, { ...STRICT, toleranceDeg: 5 }]) // windowS 300, toleranceDeg 5
 */
export function strictest(rules: readonly TieRule[]): TieRule {
  if (rules.length === 0) return STRICT;
  return {
    toleranceDeg: Math.min(...rules.map((r) => r.toleranceDeg)),
    windowS: Math.min(...rules.map((r) => r.windowS)),
    requireProof: rules.some((r) => r.requireProof === 'common-conductor') ? 'common-conductor' : 'attested-time',
  };
}
