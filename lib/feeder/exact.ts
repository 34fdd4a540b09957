/** Exact inference on a feeder with loops, measured ties and turning transformers; slower than the plain sweeps, the same on plain feeders. */
import { blockDown, gainOf } from './block-down';
import type { SiteEvidence } from './evidence';
import { prepare, type Run, upward } from './exact-run';
import type { FeederTree } from './model';
import type { PairFactor } from './pair-factor';
import { STATES } from './permutation';

export interface Exact {
  /** probability of each permutation of each section */
  readonly belief: Float64Array;
  readonly change: Float64Array;
  readonly logEvidence: number;
  /** probability of each permutation at each shift of a section: tells them one by one */
  eachState(section: number, tell: (s: number, shift: number, probability: number) => void): void;
  /** ln of the evidence with one of the factors over the evidence without it */
  logGain(factor: PairFactor): number;
}

function downward(run: Run): void {
  const { tree, layout, arrays, change, inBlock, messages } = run;
  const { below, up, belief } = arrays;
  const cavity = new Float64Array(STATES * 12);
  belief[0] = 1;
  for (let v = 0; v < tree.count; v++) {
    if (v > 0 && !inBlock[v]) {
      const at = layout.at[v]!;
      const u = tree.parent[v]!;
      const sizeAbove = STATES * layout.shifts[u]!.length;
      for (let j = 0; j < sizeAbove; j++) cavity[j] = belief[layout.at[u]! + j]! / up[layout.upAt[v]! + j]!;
      messages.down(v, cavity, 0, belief, at);
      const size = STATES * layout.shifts[v]!.length;
      let z = 0;
      for (let j = 0; j < size; j++) {
        belief[at + j]! *= below[at + j]!;
        z += belief[at + j]!;
      }
      for (let j = 0; j < size; j++) belief[at + j]! /= z;
      change[v] = Math.max(0, 1 - messages.unchanged(v, cavity, below, at) / z);
    }
    for (const runs of run.runsAt.get(v) ?? []) blockDown(run, runs);
  }
}

/** Probabilities of every section under evidence and factors. Settings of the cuts grow as 6 to the number of factors of a block. */
export function exact(tree: FeederTree, evidence: readonly SiteEvidence[], factors: readonly PairFactor[] = []): Exact {
  const run = prepare(tree, evidence, factors, 'sum');
  const log = upward(run, (a, b) => a + b);
  downward(run);
  const { layout, arrays } = run;
  const belief = new Float64Array(STATES * tree.count);
  for (let v = 0; v < tree.count; v++) {
    layout.shifts[v]!.forEach((_, k) => {
      for (let s = 0; s < STATES; s++) belief[STATES * v + s]! += arrays.belief[layout.at[v]! + STATES * k + s]!;
    });
  }
  return {
    belief,
    change: run.change,
    logEvidence: log + Math.log(arrays.below[0]!),
    eachState(v, tell) {
      layout.shifts[v]!.forEach((shift, k) => {
        for (let s = 0; s < STATES; s++) tell(s, shift, arrays.belief[layout.at[v]! + STATES * k + s]!);
      });
    },
    logGain(factor) {
      const runs = [...run.runsAt.values()].flat().find((r) => r.block.factors.includes(factor));
      return runs ? gainOf(run, runs, factor) : 0;
    },
  };
}
