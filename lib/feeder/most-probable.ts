/** The most probable joint explanation of all evidence. */
import { bestSweep } from './best-sweep';
import { blockBest } from './block-down';
import type { SiteEvidence } from './evidence';
import { prepare, type Run, upward } from './exact-run';
import { clampChange, passes } from './kernel';
import type { FeederTree } from './model';
import type { PairFactor } from './pair-factor';
import { STATES } from './permutation';

export interface MostProbable {
  /** permutation of each section */
  readonly states: Uint8Array;
  /** ln of the joint weight */
  readonly logWeight: number;
}

/** The most probable joint explanation: one permutation for every section, so that all of them together are likeliest. */
export function mostProbable(
  tree: FeederTree,
  evidence: readonly SiteEvidence[],
  factors: readonly PairFactor[] = [],
): MostProbable {
  if (tree.windings.size === 0 && factors.length === 0) return bestSweep(tree, evidence);
  const run = prepare(tree, evidence, factors, 'max');
  const log = upward(run, Math.max);
  const { layout, arrays } = run;
  const chosen = new Int32Array(tree.count);
  const choose = (v: number, below: Float64Array) => {
    chosen[v] = bestUnder(run, v, chosen[tree.parent[v]!]!, below, layout.at[v]!);
  };
  for (let v = 0; v < tree.count; v++) {
    if (v > 0 && !run.inBlock[v]) choose(v, arrays.below);
    for (const runs of run.runsAt.get(v) ?? []) blockBest(run, runs, chosen[v]!, choose);
  }
  return { states: Uint8Array.from(chosen, (c) => c % STATES), logWeight: log + Math.log(arrays.below[0]!) };
}

/** State of v (slice x 6 + permutation) that goes best with the state of the section above. */
function bestUnder(run: Run, v: number, above: number, below: Float64Array, at: number): number {
  const p = clampChange(run.tree.changePrior[v]!);
  const s = above % STATES;
  const slice = (above - s) / STATES;
  const turns = run.layout.turns.get(v)?.filter((t) => t.from === slice && t.even === s < 3);
  let best = -1;
  let weight = -1;
  for (const { to, probability } of turns ?? [{ to: slice, probability: 1 }]) {
    for (let t = 0; t < STATES; t++) {
      const w = probability * passes(p, s, t) * below[at + STATES * to + t]!;
      if (w > weight) {
        weight = w;
        best = STATES * to + t;
      }
    }
  }
  return best;
}
