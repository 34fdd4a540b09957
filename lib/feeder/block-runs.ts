/**
 * A block of loops, exactly: one run for each setting of the sections at which the loops are cut, mixed by how well each explains the
 * evidence (cutset conditioning: J. Pearl, Probabilistic Reasoning in Intelligent Systems, 1988, from memory).
 */
import type { Block } from './blocks';
import type { Layout } from './layout';
import type { Messages } from './messages';
import type { FeederTree } from './model';
import { STATES } from './permutation';

/** Arrays of the whole feeder in the states of its layout. */
export interface StateArrays {
  readonly below: Float64Array;
  readonly up: Float64Array;
  readonly belief: Float64Array;
  readonly change: Float64Array;
}

export interface BlockRuns {
  readonly block: Block;
  readonly settings: number;
  /** message of the whole block to its top, scaled */
  readonly message: Float64Array;
  /** what was divided out of the message */
  readonly logScale: number;
  /** conditional messages to the top of each setting, in the scale of `message` */
  readonly perSetting: readonly Float64Array[];
}

interface Context {
  readonly tree: FeederTree;
  readonly layout: Layout;
  readonly messages: Messages;
  readonly arrays: StateArrays;
}

const sizeOf = (layout: Layout, v: number): number => STATES * layout.shifts[v]!.length;

/** Permutation at which a setting holds the cut of factor i. */
const heldAt = (setting: number, i: number): number => Math.floor(setting / STATES ** i) % STATES;

/** Weight that a setting gives each state of section v: 0 or 1 at a cut, the factor's row at its other end. */
function hold(context: Context, block: Block, setting: number, v: number, numbers: Float64Array, at: number): void {
  const slices = context.layout.shifts[v]!.length;
  block.factors.forEach((factor, i) => {
    const held = heldAt(setting, i);
    for (let j = 0; j < STATES * slices; j++) {
      const s = j % STATES;
      if (factor.a === v && s !== held) numbers[at + j] = 0;
      if (factor.b === v) numbers[at + j]! *= factor.table[STATES * held + s]!;
    }
  });
}

/** Local copies of one setting, the up sweep done; returns the message to the top and its logarithmic scale. */
function upRun(
  context: Context,
  block: Block,
  setting: number,
  below: Map<number, Float64Array>,
  up: Map<number, Float64Array>,
) {
  const { tree, layout, messages, arrays } = context;
  const top = new Float64Array(sizeOf(layout, block.top)).fill(1);
  let log = 0;
  for (const v of block.sections) {
    const own = arrays.below.slice(layout.at[v]!, layout.at[v]! + sizeOf(layout, v));
    hold(context, block, setting, v, own, 0);
    below.set(v, own);
  }
  hold(context, block, setting, block.top, top, 0);
  for (let i = block.sections.length - 1; i >= 0; i--) {
    const v = block.sections[i]!;
    const u = tree.parent[v]!;
    const own = below.get(v)!;
    const scale = Math.max(...own);
    if (scale === 0) return { top: top.fill(0), log: 0 };
    log += Math.log(scale);
    for (let j = 0; j < own.length; j++) own[j]! /= scale;
    const message = new Float64Array(sizeOf(layout, u));
    messages.up(v, own, 0, message, 0);
    up.set(v, message);
    const above = u === block.top ? top : below.get(u)!;
    for (let j = 0; j < above.length; j++) above[j]! *= message[j]!;
  }
  return { top, log };
}

/** All settings upward; the message to the top is their sum (or, for the most probable state, their greatest). */
export function blockUp(context: Context, block: Block, join: (a: number, b: number) => number): BlockRuns {
  const settings = STATES ** block.factors.length;
  const runs = Array.from({ length: settings }, (_, c) => upRun(context, block, c, new Map(), new Map()));
  const logs = runs.map((r) => Math.log(Math.max(...r.top)) + r.log);
  const logScale = Math.max(...logs);
  const perSetting = runs.map((r) => r.top.map((x) => x * Math.exp(r.log - logScale)));
  const message = perSetting.reduce((sum, m) => sum.map((x, j) => join(x, m[j]!)));
  return { block, settings, message, logScale, perSetting };
}

/** Beliefs and changes of the block's sections, once the belief of its top is known. */
export function blockDown(context: Context, runs: BlockRuns): void {
  const { layout, arrays } = context;
  const { block } = runs;
  const atTop = layout.at[block.top]!;
  const rest = runs.message.map((m, j) => (m > 0 ? arrays.belief[atTop + j]! / m : 0));
  const weights = runs.perSetting.map((m) => m.reduce((sum, x, j) => sum + x * rest[j]!, 0));
  const total = weights.reduce((a, b) => a + b, 0);
  for (const v of block.sections) {
    arrays.belief.fill(0, layout.at[v]!, layout.at[v]! + sizeOf(layout, v));
    arrays.change[v] = 0;
  }
  weights.forEach((w, setting) => {
    if (w > total * 1e-14) downRun(context, block, setting, rest, w / total);
  });
}

function downRun(context: Context, block: Block, setting: number, rest: Float64Array, weight: number): void {
  const { tree, layout, messages, arrays } = context;
  const below = new Map<number, Float64Array>();
  const up = new Map<number, Float64Array>();
  const { top } = upRun(context, block, setting, below, up);
  const beliefs = new Map<number, Float64Array>([[block.top, top.map((x, j) => x * rest[j]!)]]);
  for (const v of block.sections) {
    const message = up.get(v)!;
    const cavity = beliefs.get(tree.parent[v]!)!.map((x, j) => x / message[j]!);
    const own = new Float64Array(sizeOf(layout, v));
    messages.down(v, cavity, 0, own, 0);
    const held = below.get(v)!;
    let z = 0;
    for (let j = 0; j < own.length; j++) {
      own[j]! *= held[j]!;
      z += own[j]!;
    }
    arrays.change[v]! += weight * Math.max(0, 1 - messages.unchanged(v, cavity, held, 0) / z);
    for (let j = 0; j < own.length; j++) {
      own[j]! /= z;
      arrays.belief[layout.at[v]! + j]! += weight * own[j]!;
    }
    beliefs.set(v, own);
  }
}

/** The most probable states of a block, once that of its top is known; `choose` picks the state of a section under the one above. */
export function blockBest(
  context: Context,
  runs: BlockRuns,
  topState: number,
  choose: (v: number, below: Float64Array) => void,
): void {
  let best = 0;
  runs.perSetting.forEach((m, c) => {
    if (m[topState]! > runs.perSetting[best]![topState]!) best = c;
  });
  const below = new Map<number, Float64Array>();
  upRun(context, runs.block, best, below, new Map());
  for (const v of runs.block.sections) choose(v, below.get(v)!);
}
