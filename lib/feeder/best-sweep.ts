/** The most probable states of a feeder without loops or turning transformers: two sweeps, linear time. */
import { likelihoodAt, type SiteEvidence } from './evidence';
import { clampChange, passes, spreadMax } from './kernel';
import { level } from './level';
import type { FeederTree } from './model';
import { STATES } from './permutation';

/** Permutation of each section, and ln of the joint weight. */
export function bestSweep(tree: FeederTree, evidence: readonly SiteEvidence[]) {
  const below = new Float64Array(STATES * tree.count).fill(1);
  let log = 0;
  for (const e of evidence) {
    const b = STATES * e.section;
    for (let s = 0; s < STATES; s++) below[b + s]! *= likelihoodAt(e, s, 0);
    log += level(below, b, STATES);
  }
  const message = new Float64Array(STATES);
  for (let v = tree.count - 1; v > 0; v--) {
    spreadMax(clampChange(tree.changePrior[v]!), below, STATES * v, message, 0);
    const a = STATES * tree.parent[v]!;
    for (let s = 0; s < STATES; s++) below[a + s]! *= message[s]!;
    log += level(below, a, STATES);
  }
  const states = new Uint8Array(tree.count);
  for (let v = 1; v < tree.count; v++) states[v] = bestBelow(tree, v, states[tree.parent[v]!]!, below);
  return { states, logWeight: log + Math.log(below[0]!) };
}

function bestBelow({ changePrior }: FeederTree, v: number, above: number, below: Float64Array): number {
  const p = clampChange(changePrior[v]!);
  let best = 0;
  let weight = -1;
  for (let s = 0; s < STATES; s++) {
    const w = passes(p, above, s) * below[STATES * v + s]!;
    if (w > weight) {
      weight = w;
      best = s;
    }
  }
  return best;
}
