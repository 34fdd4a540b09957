/** Invented feeders whose conductors really stand somewhere, and the readings that would be taken there. */

import { type SiteEvidence, siteEvidence, slotLikelihood } from '../../../lib/feeder/evidence';
import { ROLL, SWAP } from '../../../lib/feeder/kernel';
import type { FeederTree } from '../../../lib/feeder/model';
import { compose, image, projection } from '../../../lib/feeder/permutation';
import type { Chance } from './chance';

/**
 * Rates with which the world errs; the inference is told the same ones. The share of joints is chosen so that about 89 % of the record
 * is right, as on the feeders for which the targets were set; at a share of .08 about 97 % is.
 */
export const WORLD = {
  span: 0.0005,
  joint: 0.02,
  jointShare: 0.3,
  tagError: 0.01,
  siteFault: 0.003,
  gross: 0.005,
  sigmaDeg: 5,
};

export interface World {
  readonly tree: FeederTree;
  /** how the conductors really stand */
  readonly truth: Uint8Array;
  /** sections at which the conductors present in them cross */
  readonly crossed: Uint8Array;
}

const CHANGES = [ROLL, ROLL, SWAP, SWAP, SWAP];

/** A change other than none: 1 to 5. */
export const anyChange = (dice: Chance): number => 1 + dice.index(CHANGES);

/** A trunk of three phases with branches, a third of which carry fewer. */
export function makeWorld(dice: Chance, count: number): World {
  const parent = new Int32Array(count);
  const changePrior = new Float32Array(count);
  const mask = new Uint8Array(count).fill(7);
  const truth = new Uint8Array(count);
  const crossed = new Uint8Array(count);
  parent[0] = -1;
  for (let v = 1; v < count; v++) {
    const on = dice.uniform() < 0.75 ? v - 1 : dice.below(v);
    parent[v] = on;
    mask[v] = on !== v - 1 && dice.uniform() < 1 / 3 ? narrower(mask[on]!, dice) : mask[on]!;
    changePrior[v] = dice.uniform() < WORLD.jointShare ? WORLD.joint : WORLD.span;
    const change = dice.uniform() < changePrior[v]! ? anyChange(dice) : 0;
    truth[v] = compose(change, truth[on]!);
    crossed[v] = projection(truth[v]!, mask[v]!) === projection(truth[on]!, mask[v]!) ? 0 : 1;
  }
  return { tree: { count, parent, changePrior, mask, windings: new Map() }, truth, crossed };
}

function narrower(mask: number, dice: Chance): number {
  const kept = mask & (1 + dice.below(6));
  return kept === 0 ? mask : kept;
}

const conductorsOf = (mask: number): number[] => [0, 1, 2].filter((j) => (mask >> j) & 1);

/** Angles read at a section: of each conductor present. A wrong tag, a fault of the site and single gross errors happen. */
export function anglesAt(world: World, v: number, dice: Chance, sigmaDeg = WORLD.sigmaDeg): number[] {
  const tagged = dice.uniform() < WORLD.tagError ? compose(world.truth[v]!, anyChange(dice)) : world.truth[v]!;
  const faulty = dice.uniform() < WORLD.siteFault;
  return conductorsOf(world.tree.mask[v]!).map((j) =>
    faulty || dice.uniform() < WORLD.gross ? 360 * dice.uniform() : -120 * image(tagged, j) + sigmaDeg * dice.normal(),
  );
}

/** The evidence of these angles, under the world's own rates. */
export const evidenceOf = (
  world: World,
  v: number,
  anglesDeg: readonly number[],
  sigmaDeg = WORLD.sigmaDeg,
): SiteEvidence =>
  siteEvidence(
    v,
    [`reading at ${v}`],
    conductorsOf(world.tree.mask[v]!).map((conductor, i) => ({
      conductor,
      slots: slotLikelihood(anglesDeg[i]!, sigmaDeg, WORLD.gross),
    })),
    WORLD,
  );

/** The plain way: each section has the phases last read between it and the source. Returns which sections are right. */
export function nearestUpstream(world: World, angles: ReadonlyMap<number, readonly number[]>): Uint8Array {
  const { tree, truth } = world;
  const right = new Uint8Array(tree.count);
  const reads: (readonly number[])[] = [[0, 1, 2]];
  for (let v = 1; v < tree.count; v++) {
    const above = reads[tree.parent[v]!]!;
    const present = conductorsOf(tree.mask[v]!);
    const read = angles.get(v);
    const own = [...above];
    if (read) for (const [i, j] of present.entries()) own[j] = nearestPhase(read[i]!);
    reads.push(own);
    right[v] = present.every((j) => own[j] === image(truth[v]!, j)) ? 1 : 0;
  }
  return right;
}

const nearestPhase = (angleDeg: number): number => ((Math.round(-angleDeg / 120) % 3) + 3) % 3;

export const isRight = (world: World, v: number, state: number): boolean =>
  projection(state, world.tree.mask[v]!) === projection(world.truth[v]!, world.tree.mask[v]!);
