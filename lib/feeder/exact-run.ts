/** The pass from the ends of a feeder to its source, with loops, measured ties and turning transformers. */
import { type BlockRuns, blockUp, type Context, type StateArrays } from './block-runs';
import { type Block, blocksOf } from './blocks';
import { likelihoodAt, type SiteEvidence } from './evidence';
import { type Layout, layoutOf } from './layout';
import { level } from './level';
import { messagesOf, type Rule } from './messages';
import type { FeederTree } from './model';
import type { PairFactor } from './pair-factor';
import { STATES } from './permutation';

/** A feeder on its way through the two passes. */
export interface Run extends Context {
  readonly blocksAt: ReadonlyMap<number, readonly Block[]>;
  readonly inBlock: Uint8Array;
  readonly runsAt: Map<number, BlockRuns[]>;
  /** ln of what was divided out of the evidence */
  readonly log: number;
}

export function prepare(
  tree: FeederTree,
  evidence: readonly SiteEvidence[],
  factors: readonly PairFactor[],
  rule: Rule,
): Run {
  const layout = layoutOf(tree);
  const arrays = stateArrays(layout);
  const log = weigh(layout, arrays.below, evidence);
  const inBlock = new Uint8Array(tree.count);
  const blocksAt = new Map<number, Block[]>();
  const { blocks } = blocksOf(tree, factors);
  for (const block of blocks) {
    const here = blocksAt.get(block.top);
    if (here) here.push(block);
    else blocksAt.set(block.top, [block]);
    for (const v of block.sections) inBlock[v] = 1;
  }
  const scratch = blocks.length > 0 ? stateArrays(layout) : arrays;
  const messages = messagesOf(tree, layout, rule);
  const change = new Float64Array(tree.count);
  return { tree, layout, messages, arrays, scratch, change, blocksAt, inBlock, runsAt: new Map(), log };
}

const stateArrays = ({ states, messages }: Layout): StateArrays => ({
  below: new Float64Array(states).fill(1),
  up: new Float64Array(messages),
  belief: new Float64Array(states),
});

/** Multiplies in the evidence; returns ln of what was divided out. */
function weigh({ at, shifts }: Layout, below: Float64Array, evidence: readonly SiteEvidence[]): number {
  let log = 0;
  for (const e of evidence) {
    const first = at[e.section]!;
    const own = shifts[e.section]!;
    own.forEach((shift, k) => {
      for (let s = 0; s < STATES; s++) below[first + STATES * k + s]! *= likelihoodAt(e, s, shift);
    });
    log += level(below, first, STATES * own.length);
  }
  return log;
}

/** From the ends to the source; a block waits for its top. Returns the logarithm of what was divided out. */
export function upward(run: Run, join: (a: number, b: number) => number): number {
  const { tree, layout, arrays, inBlock, messages } = run;
  const { below, up } = arrays;
  let { log } = run;
  for (let v = tree.count - 1; v >= 0; v--) {
    const at = layout.at[v]!;
    const size = STATES * layout.shifts[v]!.length;
    for (const block of run.blocksAt.get(v) ?? []) {
      const runs = blockUp(run, block, join);
      const here = run.runsAt.get(v);
      if (here) here.push(runs);
      else run.runsAt.set(v, [runs]);
      log += runs.logScale;
      for (let j = 0; j < size; j++) below[at + j]! *= runs.message[j]!;
      log += level(below, at, size);
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
    log += level(below, layout.at[u]!, sizeAbove);
  }
  return log;
}
