/** What a transformer of a feeder does to the angle. */
import { parseVectorGroup } from '../windings';
import type { ClockNumber } from './model';

export const CENTRE_TAP = 'centre-tap';
export const UNKNOWN = 'unknown';

/**
 * Clock numbers when the vector group is not recorded, with how often they are met.
 * Common practice, no source: star-star or delta-star of either sense.
 */
const UNKNOWN_CLOCK: readonly ClockNumber[] = [
  { n: 0, probability: 0.4 },
  { n: 1, probability: 0.3 },
  { n: 11, probability: 0.3 },
];

/** Possible clock numbers; none when the transformer does not turn the angle. */
export function clockNumbersOf(vectorGroup: string): readonly ClockNumber[] {
  if (vectorGroup === CENTRE_TAP) return [];
  if (vectorGroup === UNKNOWN) return UNKNOWN_CLOCK;
  const parsed = parseVectorGroup(vectorGroup);
  if (!parsed.ok) return [];
  return parsed.clock === 0 ? [] : [{ n: parsed.clock, probability: 1 }];
}

/** What is wrong with a vector group, or nothing. */
export function vectorGroupProblem(vectorGroup: string): string | undefined {
  if (vectorGroup === CENTRE_TAP || vectorGroup === UNKNOWN) return undefined;
  const parsed = parseVectorGroup(vectorGroup);
  return parsed.ok
    ? undefined
    : `vectorGroup: ${parsed.what}; expected ${parsed.expected}, ${CENTRE_TAP} or ${UNKNOWN}`;
}
