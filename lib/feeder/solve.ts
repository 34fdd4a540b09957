/** The inference of a whole feeder: the plain sweeps where they are exact, the wider ones where they are needed. */
import { settingsOf } from './block-runs';
import { blocksOf, type Refusal } from './blocks';
import type { SiteEvidence } from './evidence';
import { exact } from './exact';
import { layoutOf } from './layout';
import type { FeederTree } from './model';
import { type MostProbable, mostProbable } from './most-probable';
import type { PairFactor } from './pair-factor';
import { projection, STATES } from './permutation';
import { type SweepArrays, sweep, sweepArrays } from './sweep';
import { windingsMeet } from './windings-meet';

/**
 * Runs of one block that are made to be exact: each loop multiplies them by six, and by the shifts of its cut where windings turn between its
 * sides. Four loops, or three about transformers that turn.
 */
export const MOST_SETTINGS = 12 ** 3;

export interface Solution {
  readonly tree: FeederTree;
  /** probability of each permutation of each section: [6 v + s] */
  readonly belief: Float32Array | Float64Array;
  /** probability that a section's conductors change their phases between it and the one above; changes of absent ones are not seen */
  readonly change: Float32Array | Float64Array;
  readonly logEvidence: number;
  /** loops and ties that were left out since they would take too many runs: with any, the result is approximate */
  readonly leftOut: readonly string[];
  /** loops and ties that the windings on record keep open, whatever the conductors do: they tell of no conductor */
  readonly keptOpen: readonly PairFactor[];
  readonly factors: readonly PairFactor[];
  eachState(section: number, tell: (s: number, shift: number, probability: number) => void): void;
  /** ln of the evidence with one of the factors over the evidence without it */
  logGain(factor: PairFactor): number;
}

const plain = (tree: FeederTree, factors: readonly PairFactor[]) => tree.windings.size === 0 && factors.length === 0;

/**
 * @param arrays kept from an earlier run of the same feeder, to spare the memory; used on plain feeders
 */
export function solve(
  tree: FeederTree,
  evidence: readonly SiteEvidence[],
  factors: readonly PairFactor[] = [],
  arrays?: SweepArrays,
): Solution {
  if (plain(tree, factors)) {
    const a = arrays ?? sweepArrays(tree.count);
    const logEvidence = sweep(tree, evidence, a);
    const { belief, change } = a;
    const eachState: Solution['eachState'] = (v, tell) => {
      for (let s = 0; s < STATES; s++) tell(s, 0, belief[STATES * v + s]!);
    };
    return { tree, belief, change, logEvidence, leftOut: [], keptOpen: [], factors, eachState, logGain: () => 0 };
  }
  const { kept, leftOut, keptOpen } = tractable(tree, factors);
  return { tree, ...exact(tree, evidence, kept), leftOut, keptOpen, factors: kept };
}

/** The most probable joint explanation under what `solve` reckoned with. */
export const explain = (solution: Solution, evidence: readonly SiteEvidence[]): MostProbable =>
  mostProbable(solution.tree, evidence, solution.factors);

/** The factors that can hold with those before them, up to as many in each block as can be reckoned with exactly. */
function tractable(tree: FeederTree, factors: readonly PairFactor[]) {
  const layout = layoutOf(tree);
  const { refused } = blocksOf(tree, factors, (block) => {
    if (settingsOf(layout, block) > MOST_SETTINGS) return 'too-wide';
    return windingsMeet(tree, block) ? undefined : 'windings';
  });
  const because = (why: Refusal) => factors.filter((f) => refused.get(f) === why);
  return {
    kept: factors.filter((f) => !refused.has(f)),
    leftOut: because('too-wide').map((f) => f.id),
    keptOpen: because('windings'),
  };
}

/** The likeliest phases of the conductors present, and how probable they are together. */
export function bestProjection(
  solution: Solution,
  v: number,
): { readonly state: number; readonly probability: number } {
  let state = 0;
  let probability = -1;
  for (let s = 0; s < STATES; s++) {
    const p = probabilityOf(solution, v, s);
    if (p > probability + 1e-12) {
      probability = p;
      state = s;
    }
  }
  return { state, probability };
}

/** Probability that the conductors present stand on the phases on which this permutation puts them. */
export function probabilityOf({ belief, tree }: Solution, v: number, state: number): number {
  const mask = tree.mask[v]!;
  let sum = 0;
  for (let t = 0; t < STATES; t++) {
    if (projection(t, mask) === projection(state, mask)) sum += belief[STATES * v + t]!;
  }
  return Math.min(1, sum);
}
