/**
 * A block of loops, exactly: one run for each setting of the sections at which the loops are cut, mixed by how well each explains the
 * evidence (cutset conditioning: J. Pearl, Probabilistic Reasoning in Intelligent Systems, 1988, from memory).
 */
import type { Block } from './blocks';
import type { Layout } from './layout';
import type { Messages } from './messages';
import type { FeederTree } from './model';
import { type PairFactor, placeOf } from './pair-factor';
import { STATES } from './permutation';

/** Arrays of the whole feeder in the states of its layout. */
export interface StateArrays {
  readonly below: Float64Array;
  readonly up: Float64Array;
  readonly belief: Float64Array;
}

/** What runs of a block need of the feeder. */
export interface Context {
  readonly tree: FeederTree;
  readonly layout: Layout;
  readonly messages: Messages;
  readonly arrays: StateArrays;
  readonly change: Float64Array;
  /** of the one run that is being made; `below` of the top holds the message to it */
  readonly scratch: StateArrays;
}

export interface BlockRuns {
  readonly block: Block;
  /** message of the whole block to its top, scaled */
  readonly message: Float64Array;
  /** ln of what was divided out of the message */
  readonly logScale: number;
  /** message to the top of each setting, in the scale of `message` */
  readonly perSetting: readonly Float64Array[];
}

export const sizeOf = (layout: Layout, v: number): number => STATES * layout.shifts[v]!.length;

/** States at which a loop is cut: without a winding between its sides their shift is one, whatever it is. */
const cutStates = (layout: Layout, { turned }: Block, factor: PairFactor): number =>
  turned.has(factor) ? sizeOf(layout, factor.a) : STATES;

/** Runs that a block takes: each loop is cut at one end, whose states are gone through. */
export const settingsOf = (layout: Layout, block: Block): number =>
  block.factors.reduce((product, f) => product * cutStates(layout, block, f), 1);

/** Leaves of each loop the one state of its cut that the setting says, and weighs its other end by that. */
function hold({ layout, scratch: { below } }: Context, block: Block, setting: number): void {
  let rest = setting;
  for (const factor of block.factors) {
    const { a, b, table } = factor;
    const states = cutStates(layout, block, factor);
    const held = rest % states;
    rest = (rest - held) / states;
    const turned = block.turned.has(factor);
    const shift = (v: number, state: number) => (turned ? layout.shifts[v]![Math.floor(state / STATES)]! : 0);
    for (let j = 0; j < sizeOf(layout, a); j++) if (j % states !== held) below[layout.at[a]! + j] = 0;
    for (let j = 0; j < sizeOf(layout, b); j++) {
      below[layout.at[b]! + j]! *= table[placeOf(held % STATES, shift(a, held), j % STATES, shift(b, j))]!;
    }
  }
}

/** One setting upward. Returns ln of what was divided out; -Infinity when the setting is impossible. */
export function upRun(context: Context, block: Block, setting: number): number {
  const { tree, layout, messages, arrays, scratch } = context;
  const { below, up } = scratch;
  const { sections, top } = block;
  below.fill(1, layout.at[top]!, layout.at[top]! + sizeOf(layout, top));
  for (const v of sections) {
    const at = layout.at[v]!;
    for (let i = at; i < at + sizeOf(layout, v); i++) below[i] = arrays.below[i]!;
  }
  hold(context, block, setting);
  let log = 0;
  for (let k = sections.length - 1; k >= 0; k--) {
    const v = sections[k]!;
    const [at, size] = [layout.at[v]!, sizeOf(layout, v)];
    const most = greatest(below, at, size);
    if (most === 0) return Number.NEGATIVE_INFINITY;
    log += Math.log(most);
    for (let i = at; i < at + size; i++) below[i]! /= most;
    const upAt = layout.upAt[v]!;
    messages.up(v, below, at, up, upAt);
    const above = layout.at[tree.parent[v]!]!;
    for (let j = 0; j < sizeOf(layout, tree.parent[v]!); j++) below[above + j]! *= up[upAt + j]!;
  }
  return log;
}

function greatest(numbers: Float64Array, at: number, size: number): number {
  let most = 0;
  for (let i = at; i < at + size; i++) if (numbers[i]! > most) most = numbers[i]!;
  return most;
}

/** All settings upward; the message to the top is their sum (or, for the most probable state, their greatest). */
export function blockUp(context: Context, block: Block, join: (a: number, b: number) => number): BlockRuns {
  const { layout, scratch } = context;
  const at = layout.at[block.top]!;
  const runs = Array.from({ length: settingsOf(layout, block) }, (_, setting) => {
    const log = upRun(context, block, setting);
    return { log, top: scratch.below.slice(at, at + sizeOf(layout, block.top)) };
  });
  const logScale = runs.reduce(
    (most, r) => Math.max(most, Math.log(Math.max(...r.top)) + r.log),
    Number.NEGATIVE_INFINITY,
  );
  const perSetting = runs.map((r) => {
    const scale = Math.exp(r.log - logScale);
    return r.top.map((x) => x * scale);
  });
  const message = perSetting.reduce((sum, m) => sum.map((x, j) => join(x, m[j]!)));
  return { block, message, logScale, perSetting };
}
