/**
 * Belief propagation on a feeder without loops or turning transformers: exact, two sweeps, linear time.
 * J. Pearl, Probabilistic Reasoning in Intelligent Systems, 1988 (from memory).
 */
import type { SiteEvidence } from './evidence';
import { LEAST_CHANGE, ROLL, SWAP } from './kernel';
import type { FeederTree } from './model';
import { ALIKE, STATES } from './permutation';

/** Arrays of one feeder, kept between runs. */
export interface SweepArrays {
  /** evidence and messages from below, six for each section */
  readonly below: Float32Array;
  /** message of each section to the one that feeds it */
  readonly up: Float32Array;
  /** probability of each permutation of each section */
  readonly belief: Float32Array;
  /** probability that a section carries a change of the conductors present in it */
  readonly change: Float32Array;
}

export function sweepArrays(count: number): SweepArrays {
  return {
    below: new Float32Array(STATES * count),
    up: new Float32Array(STATES * count),
    belief: new Float32Array(STATES * count),
    change: new Float32Array(count),
  };
}

/** Fills belief and change; returns ln of the probability of the evidence, up to its own scale. */
export function sweep(tree: FeederTree, evidence: readonly SiteEvidence[], arrays: SweepArrays): number {
  const { below } = arrays;
  below.fill(1);
  for (const e of evidence) {
    const b = STATES * e.section;
    const stride = e.likelihood.length / STATES;
    for (let s = 0; s < STATES; s++) below[b + s]! *= e.likelihood[s * stride]!;
  }
  const logEvidence = upSweep(tree, below, arrays.up);
  downSweep(tree, arrays);
  return logEvidence + Math.log(below[0]!);
}

const TINY = 1e-200;

function upSweep(tree: FeederTree, below: Float32Array, up: Float32Array): number {
  const { parent, changePrior } = tree;
  let log = 0;
  let scale = 1;
  for (let v = tree.count - 1; v > 0; v--) {
    const b = STATES * v;
    const a = STATES * parent[v]!;
    const p = Math.max(changePrior[v]!, LEAST_CHANGE);
    const even = below[b]! + below[b + 1]! + below[b + 2]!;
    const odd = below[b + 3]! + below[b + 4]! + below[b + 5]!;
    const sum = (even + odd) / STATES;
    scale *= sum;
    if (scale < TINY) {
      log += Math.log(scale);
      scale = 1;
    }
    const k = 1 / sum;
    const stay = (1 - p - p * ROLL) * k;
    const toEven = p * (ROLL * even + SWAP * odd) * k;
    const toOdd = p * (ROLL * odd + SWAP * even) * k;
    for (let s = 0; s < STATES; s++) {
      const own = below[b + s]!;
      const m = stay * own + (s < 3 ? toEven : toOdd);
      below[b + s] = own * k;
      up[b + s] = m;
      below[a + s]! *= m;
    }
  }
  return log + Math.log(scale);
}

function downSweep(tree: FeederTree, { below, up, belief, change }: SweepArrays): void {
  const { parent, changePrior, mask } = tree;
  belief.fill(0, 0, STATES);
  belief[0] = 1;
  change[0] = 0;
  const cavity = new Float64Array(STATES);
  for (let v = 1; v < tree.count; v++) {
    const b = STATES * v;
    const a = STATES * parent[v]!;
    const p = Math.max(changePrior[v]!, LEAST_CHANGE);
    for (let s = 0; s < STATES; s++) cavity[s] = belief[a + s]! / up[b + s]!;
    const even = cavity[0]! + cavity[1]! + cavity[2]!;
    const odd = cavity[3]! + cavity[4]! + cavity[5]!;
    const stay = 1 - p - p * ROLL;
    const toEven = p * (ROLL * even + SWAP * odd);
    const toOdd = p * (ROLL * odd + SWAP * even);
    let z = 0;
    let unchanged = 0;
    for (let s = 0; s < STATES; s++) {
      const x = (stay * cavity[s]! + (s < 3 ? toEven : toOdd)) * below[b + s]!;
      unchanged += cavity[s]! * below[b + s]!;
      z += x;
      belief[b + s] = x;
    }
    const k = 1 / z;
    for (let s = 0; s < STATES; s++) belief[b + s]! *= k;
    change[v] = Math.max(0, 1 - ((1 - p) * unchanged + p * SWAP * unseen(mask[v]!, cavity, below, b)) * k);
  }
}

/** Weight of changes that leave a conductor by itself on its phase. */
function unseen(mask: number, cavity: Float64Array, below: Float32Array, b: number): number {
  if ((mask & (mask - 1)) !== 0 || mask === 0) return 0;
  let sum = 0;
  for (let s = 0; s < STATES; s++) sum += cavity[s]! * below[b + ALIKE[STATES * mask + s]!]!;
  return sum;
}
