/** The outside measure of the feeder inference: every joint state of a small feeder, one after the other. */
import { likelihoodAt, type SiteEvidence, siteEvidence, slotLikelihood } from '../../lib/feeder/evidence';
import { passes } from '../../lib/feeder/kernel';
import type { ClockNumber, FeederTree } from '../../lib/feeder/model';
import { placeOf } from '../../lib/feeder/pair-factor';
import { image, parity, STATES } from '../../lib/feeder/permutation';
import { chance } from '../outside/rates/chance';

export interface EnumeratedFactor {
  readonly a: number;
  readonly b: number;
  readonly table: Float64Array;
}

export interface Enumerated {
  readonly belief: Float64Array;
  readonly change: Float64Array;
  readonly best: { readonly weight: number; readonly states: readonly number[] };
  readonly total: number;
}

const NO_TURN: readonly ClockNumber[] = [{ n: 0, probability: 1 }];

/** Sums the joint probability over all permutations of all sections and all clock numbers of all transformers. */
export function enumerate(
  tree: FeederTree,
  evidence: readonly SiteEvidence[],
  factors: readonly EnumeratedFactor[] = [],
): Enumerated {
  const { count, parent } = tree;
  const belief = new Float64Array(STATES * count);
  const change = new Float64Array(count);
  const states = new Array<number>(count).fill(0);
  const shifts = new Array<number>(count).fill(0);
  let total = 0;
  let best = { weight: -1, states: [0] as readonly number[] };
  const finish = (weight: number) => {
    let w = weight;
    for (const f of factors) w *= f.table[placeOf(states[f.a]!, shifts[f.a]!, states[f.b]!, shifts[f.b]!)]!;
    total += w;
    for (let v = 0; v < count; v++) belief[STATES * v + states[v]!]! += w;
    for (let v = 1; v < count; v++) {
      const present = [0, 1, 2].filter((j) => (tree.mask[v]! >> j) & 1);
      if (present.some((j) => image(states[v]!, j) !== image(states[parent[v]!]!, j))) change[v]! += w;
    }
    if (w > best.weight) best = { weight: w, states: [...states] };
  };
  const visit = (v: number, weight: number) => {
    if (v === count) {
      finish(weight);
      return;
    }
    const u = parent[v]!;
    for (const clock of tree.windings.get(v) ?? NO_TURN) {
      shifts[v] = (((shifts[u]! - clock.n * parity(states[u]!)) % 12) + 12) % 12;
      for (let s = 0; s < STATES; s++) {
        states[v] = s;
        let w = weight * clock.probability * passes(tree.changePrior[v]!, states[u]!, s);
        for (const e of evidence) if (e.section === v) w *= likelihoodAt(e, s, shifts[v]!);
        visit(v + 1, w);
      }
    }
  };
  visit(1, 1);
  return { belief: belief.map((x) => x / total), change: change.map((x) => x / total), best, total };
}

/** Greatest joint weight of these permutations, over all clock numbers of all transformers. */
export function weightOf(
  tree: FeederTree,
  evidence: readonly SiteEvidence[],
  factors: readonly EnumeratedFactor[],
  states: ArrayLike<number>,
): number {
  const shifts = new Array<number>(tree.count).fill(0);
  const from = (v: number, weight: number): number => {
    if (v === tree.count) {
      return factors.reduce(
        (w, f) => w * f.table[placeOf(states[f.a]!, shifts[f.a]!, states[f.b]!, shifts[f.b]!)]!,
        weight,
      );
    }
    const u = tree.parent[v]!;
    const each = (tree.windings.get(v) ?? NO_TURN).map((clock) => {
      shifts[v] = (((shifts[u]! - clock.n * parity(states[u]!)) % 12) + 12) % 12;
      const w = evidence
        .filter((e) => e.section === v)
        .reduce((product, e) => product * likelihoodAt(e, states[v]!, shifts[v]!), weight * clock.probability);
      return from(v + 1, w * passes(tree.changePrior[v]!, states[u]!, states[v]!));
    });
    return Math.max(...each);
  };
  return from(1, 1);
}

/** A random feeder, its priors between 1e-3 and 0.2. */
export function randomTree(
  seed: number,
  count: number,
  windings = new Map<number, readonly ClockNumber[]>(),
): FeederTree {
  const dice = chance(seed);
  const parent = Int32Array.from({ length: count }, (_, v) => (v === 0 ? -1 : dice.below(v)));
  const changePrior = Float32Array.from({ length: count }, () => 0.001 + 0.2 * dice.uniform());
  const mask = new Uint8Array(count).fill(7);
  for (let v = 1; v < count; v++) {
    const above = mask[parent[v]!]!;
    const kept = above & (1 + dice.below(7));
    mask[v] = dice.uniform() < 0.5 || kept === 0 ? above : kept;
  }
  return { count, parent, changePrior, mask, windings };
}

/** Readings of the conductors present at about half of the sections, at random angles: the worst case for exactness. */
export function randomEvidence(seed: number, tree: FeederTree, turned = false): SiteEvidence[] {
  const dice = chance(seed ^ 0x5eed);
  const evidence: SiteEvidence[] = [];
  for (let v = 1; v < tree.count; v++) {
    if (dice.uniform() < 0.5) continue;
    const conductors = [0, 1, 2]
      .filter((j) => (tree.mask[v]! >> j) & 1)
      .map((conductor) => ({ conductor, slots: slotLikelihood(360 * dice.uniform(), 5 + 25 * dice.uniform(), 0.01) }));
    evidence.push(siteEvidence(v, [], conductors, undefined, turned));
  }
  return evidence;
}
