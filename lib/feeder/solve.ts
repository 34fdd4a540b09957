/** The inference of a whole feeder: the plain sweeps where they are exact, the wider ones where they are needed. */
import { type Block, blocksOf, type PairFactor } from './blocks';
import type { SiteEvidence } from './evidence';
import { exact, type MostProbable, mostProbable } from './exact';
import type { FeederTree } from './model';
import { projection, STATES } from './permutation';
import { type SweepArrays, sweep, sweepArrays } from './sweep';

/** Loops of one block that are reckoned with exactly; each costs six times the one before. */
export const MOST_LOOPS = 3;

export interface Solution {
  readonly tree: FeederTree;
  /** probability of each permutation of each section: [6 v + s] */
  readonly belief: Float32Array | Float64Array;
  /** probability that a section's conductors change their phases between it and the one above; changes of absent ones are not seen */
  readonly change: Float32Array | Float64Array;
  readonly logEvidence: number;
  /** loops and ties that were left out: with any, the result is approximate */
  readonly leftOut: readonly string[];
  readonly factors: readonly PairFactor[];
  eachState(section: number, tell: (s: number, shift: number, probability: number) => void): void;
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
    return { tree, belief, change, logEvidence, leftOut: [], factors, eachState };
  }
  const { kept, leftOut } = tractable(tree, factors);
  return { tree, ...exact(tree, evidence, kept), leftOut, factors: kept };
}

/** The most probable joint explanation under what `solve` reckoned with. */
export const explain = (solution: Solution, evidence: readonly SiteEvidence[]): MostProbable =>
  mostProbable(solution.tree, evidence, solution.factors);

/** The first factors of each block, up to the number that can be reckoned with exactly. */
function tractable(tree: FeederTree, factors: readonly PairFactor[]) {
  let kept: PairFactor[] = [];
  const leftOut: string[] = [];
  for (const factor of factors) {
    const tried = [...kept, factor];
    const blocks: Block[] = blocksOf(tree, tried);
    if (blocks.some((b) => b.factors.length > MOST_LOOPS)) leftOut.push(factor.id);
    else kept = tried;
  }
  return { kept, leftOut };
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
