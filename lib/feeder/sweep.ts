/**
 * Belief propagation on a feeder without loops or turning transformers: exact, two sweeps, linear time.
 * J. Pearl, Probabilistic Reasoning in Intelligent Systems, 1988 (from memory).
 */
import type { SiteEvidence } from './evidence';
import { LEAST_CHANGE, ROLL, SWAP } from './kernel';
import type { FeederTree } from './model';
import { ALIKE, STATES } from './permutation';

/** Arrays of one feeder, kept between runs: 28 bytes a section. */
export interface SweepArrays {
  /** probability of each permutation of each section, six for each; on the way up it holds the evidence at and below the section */
  readonly belief: Float32Array;
  /** probability that a section carries a change of the conductors present in it */
  readonly change: Float32Array;
}

export const sweepArrays = (count: number): SweepArrays => ({
  belief: new Float32Array(STATES * count),
  change: new Float32Array(count),
});

/** Fills belief and change; returns ln of the probability of the evidence, up to its own scale. */
export function sweep(tree: FeederTree, evidence: readonly SiteEvidence[], arrays: SweepArrays): number {
  const { belief } = arrays;
  belief.fill(1);
  let log = 0;
  for (const e of evidence) {
    const b = STATES * e.section;
    const stride = e.likelihood.length / STATES;
    for (let s = 0; s < STATES; s++) belief[b + s]! *= e.likelihood[s * stride]!;
    log += level(belief, b);
  }
  log += upSweep(tree, belief);
  const logEvidence = log + Math.log(belief[0]!);
  downSweep(tree, arrays);
  return logEvidence;
}

/** Many evidences that agree at one section would outgrow a 32-bit float (3.4e38), and many that disagree would vanish. */
const LARGE = 1e15;
/** Beside the most probable permutation nothing is told apart below this. */
const LEAST = 1e-30;

/** Brings the six numbers of a section back near one where they have run far from it; returns ln of what was divided by. */
function level(numbers: Float32Array, at: number): number {
  let most = 0;
  for (let s = 0; s < STATES; s++) if (numbers[at + s]! > most) most = numbers[at + s]!;
  if (most < LARGE && most > 1 / LARGE) return 0;
  for (let s = 0; s < STATES; s++) numbers[at + s] = Math.max(LEAST, numbers[at + s]! / most);
  return Math.log(most);
}

const TINY = 1e-200;

/** Leaves in `below` of each section what is at and below it, with a mean of one; a message up is not kept, since it follows from that. */
function upSweep(tree: FeederTree, below: Float32Array): number {
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
    const stay = 1 - p - p * ROLL;
    const toEven = p * (ROLL * even + SWAP * odd) * k;
    const toOdd = p * (ROLL * odd + SWAP * even) * k;
    for (let s = 0; s < STATES; s++) {
      const own = below[b + s]! * k;
      below[b + s] = own;
      below[a + s]! *= stay * own + (s < 3 ? toEven : toOdd);
    }
    log += level(below, a);
  }
  return log + Math.log(scale);
}

/** Turns what is below into beliefs in place, the sections above before those they feed. */
function downSweep(tree: FeederTree, { belief, change }: SweepArrays): void {
  const { parent, changePrior, mask } = tree;
  belief.fill(0, 0, STATES);
  belief[0] = 1;
  change[0] = 0;
  const below = new Float64Array(STATES);
  const cavity = new Float64Array(STATES);
  for (let v = 1; v < tree.count; v++) {
    const b = STATES * v;
    const a = STATES * parent[v]!;
    const p = Math.max(changePrior[v]!, LEAST_CHANGE);
    const stay = 1 - p - p * ROLL;
    for (let s = 0; s < STATES; s++) below[s] = belief[b + s]!;
    let even = below[0]! + below[1]! + below[2]!;
    let odd = below[3]! + below[4]! + below[5]!;
    const upEven = p * (ROLL * even + SWAP * odd);
    const upOdd = p * (ROLL * odd + SWAP * even);
    for (let s = 0; s < STATES; s++) cavity[s] = belief[a + s]! / (stay * below[s]! + (s < 3 ? upEven : upOdd));
    even = cavity[0]! + cavity[1]! + cavity[2]!;
    odd = cavity[3]! + cavity[4]! + cavity[5]!;
    const toEven = p * (ROLL * even + SWAP * odd);
    const toOdd = p * (ROLL * odd + SWAP * even);
    let z = 0;
    let unchanged = 0;
    for (let s = 0; s < STATES; s++) {
      unchanged += cavity[s]! * below[s]!;
      z += (stay * cavity[s]! + (s < 3 ? toEven : toOdd)) * below[s]!;
    }
    const k = 1 / z;
    for (let s = 0; s < STATES; s++) belief[b + s] = (stay * cavity[s]! + (s < 3 ? toEven : toOdd)) * below[s]! * k;
    const kept = (1 - p) * unchanged + p * SWAP * unseen(mask[v]!, cavity, below);
    change[v] = Math.max(0, 1 - kept * k);
  }
}

/** Weight of changes that leave a conductor by itself on its phase. */
function unseen(mask: number, cavity: Float64Array, below: Float64Array): number {
  if ((mask & (mask - 1)) !== 0 || mask === 0) return 0;
  let sum = 0;
  for (let s = 0; s < STATES; s++) sum += cavity[s]! * below[ALIKE[STATES * mask + s]!]!;
  return sum;
}
