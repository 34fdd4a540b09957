/** From a block of loops back to its sections: beliefs, the most probable states, and what each loop adds to the evidence. */
import { type BlockRuns, blockUp, type Context, sizeOf, upRun } from './block-runs';
import type { Block } from './blocks';
import type { PairFactor } from './pair-factor';
import { STATES } from './permutation';

/** A setting that explains less of the evidence than this is not gone through. */
const NEGLIGIBLE = 1e-14;

/** Beliefs and changes of the block's sections, once the belief of its top is known. */
export function blockDown(context: Context, runs: BlockRuns): void {
  const { layout, arrays, change } = context;
  const { block } = runs;
  const rest = besides(context, runs);
  const weights = runs.perSetting.map((m) => m.reduce((sum, x, j) => sum + x * rest[j]!, 0));
  const total = weights.reduce((a, b) => a + b, 0);
  for (const v of block.sections) {
    arrays.belief.fill(0, layout.at[v]!, layout.at[v]! + sizeOf(layout, v));
    change[v] = 0;
  }
  weights.forEach((w, setting) => {
    if (w > total * NEGLIGIBLE) downRun(context, block, setting, rest, w / total);
  });
}

/** What speaks for each state of the top besides the block itself. */
function besides({ layout, arrays }: Context, { block, message }: BlockRuns): Float64Array {
  const at = layout.at[block.top]!;
  return message.map((m, j) => (m > 0 ? arrays.belief[at + j]! / m : 0));
}

/** ln of the evidence with a factor of the block over the evidence without it; beliefs must be known. */
export function gainOf(context: Context, runs: BlockRuns, factor: PairFactor): number {
  const rest = besides(context, runs);
  const factors = runs.block.factors.filter((f) => f !== factor);
  const without = blockUp(context, { ...runs.block, factors }, (a, b) => a + b);
  const weight = ({ message, logScale }: BlockRuns) =>
    Math.log(message.reduce((sum, m, j) => sum + m * rest[j]!, 0)) + logScale;
  return weight(runs) - weight(without);
}

function downRun(context: Context, block: Block, setting: number, rest: Float64Array, weight: number): void {
  const { tree, layout, messages, arrays, change, scratch } = context;
  const { below, up, belief } = scratch;
  upRun(context, block, setting);
  const top = layout.at[block.top]!;
  for (let j = 0; j < rest.length; j++) belief[top + j] = below[top + j]! * rest[j]!;
  const cavity = new Float64Array(STATES * 12);
  for (const v of block.sections) {
    const at = layout.at[v]!;
    const size = sizeOf(layout, v);
    const [above, upAt] = [layout.at[tree.parent[v]!]!, layout.upAt[v]!];
    // What is impossible above is 0 both there and in the message from here.
    for (let j = 0; j < sizeOf(layout, tree.parent[v]!); j++) {
      cavity[j] = belief[above + j]! > 0 ? belief[above + j]! / up[upAt + j]! : 0;
    }
    messages.down(v, cavity, 0, belief, at);
    let z = 0;
    for (let i = at; i < at + size; i++) {
      belief[i]! *= below[i]!;
      z += belief[i]!;
    }
    change[v]! += weight * Math.max(0, 1 - messages.unchanged(v, cavity, below, at) / z);
    for (let i = at; i < at + size; i++) {
      belief[i]! /= z;
      arrays.belief[i]! += weight * belief[i]!;
    }
  }
}

/** The most probable states of a block, once that of its top is known; `choose` picks the state of a section under the one above. */
export function blockBest(
  context: Context,
  { block, perSetting }: BlockRuns,
  topState: number,
  choose: (v: number, below: Float64Array) => void,
): void {
  let best = 0;
  perSetting.forEach((m, setting) => {
    if (m[topState]! > perSetting[best]![topState]!) best = setting;
  });
  upRun(context, block, best);
  for (const v of block.sections) choose(v, context.scratch.below);
}
