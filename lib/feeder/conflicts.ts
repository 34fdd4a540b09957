/** Loops and ties that the rest of the evidence speaks against, or the windings on record. */
import type { Feeder } from './model';
import { type PairFactor, sameConductors } from './pair-factor';
import type { Solution } from './solve';

export interface Conflict {
  readonly what: 'loop' | 'tie';
  readonly id: string;
  /** what speaks against it; windings: by the record its two sides stand apart by other angles than any order of conductors has */
  readonly against: 'evidence' | 'windings';
  /** probability of the loop closing so, or of the comparison, by all other evidence */
  readonly support: number;
}

/** Below this the rest of the evidence speaks against a loop or tie. */
export const CONTRADICTED = 0.01;

/** Each closed loop as a statement: the closing section's conductors are those of the section it meets. */
export const loopFactors = (feeder: Feeder): PairFactor[] =>
  feeder.loops
    .map(({ closing, other }) => {
      const mask = feeder.mask[closing]! & feeder.mask[other]!;
      return { mask, factor: sameConductors(feeder.ids[closing]!, closing, other, mask) };
    })
    .filter(({ mask }) => mask !== 0)
    .map(({ factor }) => factor);

/** Each factor held against the rest: the evidence with it over the evidence without it. */
export function conflicts({ factors, keptOpen, logGain }: Solution, ties: readonly PairFactor[]): Conflict[] {
  const tied = new Set(ties.map((t) => t.id));
  const told = ({ id }: PairFactor) => ({ what: tied.has(id) ? ('tie' as const) : ('loop' as const), id });
  const doubted = factors.flatMap((factor): Conflict[] => {
    const support = claimed(factor, Math.exp(logGain(factor)));
    return support < CONTRADICTED ? [{ ...told(factor), against: 'evidence', support }] : [];
  });
  return [...doubted, ...keptOpen.map((f): Conflict => ({ ...told(f), against: 'windings', support: 0 }))];
}

/** Probability of what a factor claims, from the mean of its weights under all other evidence. */
function claimed({ table }: PairFactor, mean: number): number {
  const least = Math.min(...table);
  return Math.min(1, Math.max(0, (mean - least) / (Math.max(...table) - least)));
}
