/** Loops and ties that the rest of the evidence speaks against. */
import { type PairFactor, sameConductors } from './blocks';
import type { SiteEvidence } from './evidence';
import type { Feeder } from './model';
import { type Solution, solve } from './solve';

export interface Conflict {
  readonly what: 'loop' | 'tie';
  readonly id: string;
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
export function conflicts(
  feeder: Feeder,
  evidence: readonly SiteEvidence[],
  loops: readonly PairFactor[],
  ties: readonly PairFactor[],
  solution: Solution,
): Conflict[] {
  const tied = new Set(ties.map((t) => t.id));
  return solution.factors
    .map((factor): Conflict => {
      const rest = [...loops, ...ties].filter((f) => f.id !== factor.id && !solution.leftOut.includes(f.id));
      const without = solve(feeder, evidence, rest).logEvidence;
      const support = claimed(factor, Math.exp(solution.logEvidence - without));
      return { what: tied.has(factor.id) ? 'tie' : 'loop', id: factor.id, support };
    })
    .filter((c) => c.support < CONTRADICTED);
}

/** Probability of what a factor claims, from the mean of its weights under all other evidence. */
function claimed({ table }: PairFactor, mean: number): number {
  const least = Math.min(...table);
  return Math.min(1, Math.max(0, (mean - least) / (Math.max(...table) - least)));
}
