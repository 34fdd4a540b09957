/** Exact inference on a feeder with loops, measured ties and turning transformers; slower than the plain sweeps, the same on plain feeders. */

import { type BlockRuns, blockBest, blockDown, blockUp, type StateArrays } from './block-runs';
import { type Block, blocksOf, type PairFactor } from './blocks';
import { likelihoodAt, type SiteEvidence } from './evidence';
import { clampChange, passes } from './kernel';
import { type Layout, layoutOf } from './layout';
import { type Messages, messagesOf, type Rule } from './messages';
import type { FeederTree } from './model';
import { STATES } from './permutation';

export interface Exact {
  /** probability of each permutation of each section */
  readonly belief: Float64Array;
  readonly change: Float64Array;
  readonly logEvidence: number;
  /** probability of each permutation at each shift of a section: tells them one by one */
  eachState(section: number, tell: (s: number, shift: number, probability: number) => void): void;
}

interface Run {
  readonly tree: FeederTree;
  readonly layout: Layout;
  readonly messages: Messages;
  readonly arrays: StateArrays;
  readonly blocksAt: ReadonlyMap<number, readonly Block[]>;
  readonly inBlock: Uint8Array;
  readonly runsAt: Map<number, BlockRuns[]>;
}

function prepare(tree: FeederTree, evidence: readonly SiteEvidence[], factors: readonly PairFactor[], rule: Rule): Run {
  const layout = layoutOf(tree);
  const below = new Float64Array(layout.states).fill(1);
  for (const e of evidence) {
    layout.shifts[e.section]!.forEach((shift, k) => {
      for (let s = 0; s < STATES; s++) below[layout.at[e.section]! + STATES * k + s]! *= likelihoodAt(e, s, shift);
    });
  }
  const inBlock = new Uint8Array(tree.count);
  const blocksAt = new Map<number, Block[]>();
  for (const block of blocksOf(tree, factors)) {
    blocksAt.set(block.top, [...(blocksAt.get(block.top) ?? []), block]);
    for (const v of block.sections) inBlock[v] = 1;
  }
  const up = new Float64Array(layout.messages);
  const arrays = { below, up, belief: new Float64Array(layout.states), change: new Float64Array(tree.count) };
  const messages = messagesOf(tree, layout, rule);
  return { tree, layout, messages, arrays, blocksAt, inBlock, runsAt: new Map() };
}

/** From the ends to the source; a block waits for its top. Returns the logarithm of what was divided out. */
function upward(run: Run, join: (a: number, b: number) => number): number {
  const { tree, layout, arrays, inBlock, messages } = run;
  const { below, up } = arrays;
  let log = 0;
  for (let v = tree.count - 1; v >= 0; v--) {
    const at = layout.at[v]!;
    const size = STATES * layout.shifts[v]!.length;
    for (const block of run.blocksAt.get(v) ?? []) {
      const runs = blockUp(run, block, join);
      run.runsAt.set(v, [...(run.runsAt.get(v) ?? []), runs]);
      log += runs.logScale;
      for (let j = 0; j < size; j++) below[at + j]! *= runs.message[j]!;
    }
    if (v === 0 || inBlock[v]) continue;
    let scale = 0;
    for (let j = 0; j < size; j++) scale = Math.max(scale, below[at + j]!);
    log += Math.log(scale);
    for (let j = 0; j < size; j++) below[at + j]! /= scale;
    messages.up(v, below, at, up, layout.upAt[v]!);
    const u = tree.parent[v]!;
    const sizeAbove = STATES * layout.shifts[u]!.length;
    for (let j = 0; j < sizeAbove; j++) below[layout.at[u]! + j]! *= up[layout.upAt[v]! + j]!;
  }
  return log;
}

function downward(run: Run): void {
  const { tree, layout, arrays, inBlock, messages } = run;
  const { below, up, belief, change } = arrays;
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
    change: arrays.change,
    logEvidence: log + Math.log(arrays.below[0]!),
    eachState(v, tell) {
      layout.shifts[v]!.forEach((shift, k) => {
        for (let s = 0; s < STATES; s++) tell(s, shift, arrays.belief[layout.at[v]! + STATES * k + s]!);
      });
    },
  };
}

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
  const run = prepare(tree, evidence, factors, 'max');
  const log = upward(run, Math.max);
  const { layout, arrays } = run;
  const chosen = new Int32Array(tree.count);
  const choose = (v: number, below: Float64Array, at: number) => {
    chosen[v] = bestUnder(run, v, chosen[tree.parent[v]!]!, below, at);
  };
  for (let v = 0; v < tree.count; v++) {
    if (v > 0 && !run.inBlock[v]) choose(v, arrays.below, layout.at[v]!);
    for (const runs of run.runsAt.get(v) ?? []) blockBest(run, runs, chosen[v]!, (w, below) => choose(w, below, 0));
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
