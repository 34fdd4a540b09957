/** Sections whose loops and ties share a piece of the tree: what has to be reckoned with together. */
import type { FeederTree } from './model';
import type { PairFactor } from './pair-factor';

export interface Block {
  /** the section (or source) that feeds the whole block; not of the block itself */
  readonly top: number;
  /** in feeding order */
  readonly sections: readonly number[];
  readonly factors: readonly PairFactor[];
  /** those of them between whose sides a winding turns */
  readonly turned: ReadonlySet<PairFactor>;
}

/** Why a factor is not reckoned with: its block would be too wide to be exact, or the windings on record keep its two sides apart. */
export type Refusal = 'too-wide' | 'windings';

export interface Grouped {
  readonly blocks: readonly Block[];
  readonly refused: ReadonlyMap<PairFactor, Refusal>;
}

/**
 * Groups factors into blocks, one after the other; two that share a section of their tree paths are of one block.
 * @param refuses says why the block that a factor would make must not be; left out: every factor is taken
 */
export function blocksOf(
  tree: FeederTree,
  factors: readonly PairFactor[],
  refuses: (block: Block) => Refusal | undefined = () => undefined,
): Grouped {
  const owner = new Map<number, Block>();
  const blocks = new Set<Block>();
  const refused = new Map<PairFactor, Refusal>();
  for (const factor of factors) {
    const path = pathBetween(tree, factor.a, factor.b);
    const met = new Set([...path.left, ...path.right].flatMap((v) => owner.get(v) ?? []));
    const turned = [...path.left, ...path.right].some((v) => tree.windings.has(v));
    const block = joined([...met], path, factor, turned);
    const why = refuses(block);
    if (why) {
      refused.set(factor, why);
      continue;
    }
    for (const old of met) blocks.delete(old);
    blocks.add(block);
    for (const v of block.sections) owner.set(v, block);
  }
  return { blocks: [...blocks], refused };
}

function joined(blocks: readonly Block[], { top, left, right }: Path, factor: PairFactor, turned: boolean): Block {
  return {
    top: blocks.reduce((least, b) => Math.min(least, b.top), top),
    sections: [...new Set([...blocks.flatMap((b) => b.sections), ...left, ...right])].sort((x, y) => x - y),
    factors: [...blocks.flatMap((b) => b.factors), factor],
    turned: new Set([...blocks.flatMap((b) => [...b.turned]), ...(turned ? [factor] : [])]),
  };
}

export interface Path {
  /** the section that feeds both ends */
  readonly top: number;
  /** from a, and from b, up to it */
  readonly left: readonly number[];
  readonly right: readonly number[];
}

/** The sections between two, and the one that feeds both. */
export function pathBetween(tree: FeederTree, a: number, b: number): Path {
  const left: number[] = [];
  const right: number[] = [];
  let [x, y] = [a, b];
  while (x !== y) {
    if (x > y) {
      left.push(x);
      x = tree.parent[x]!;
    } else {
      right.push(y);
      y = tree.parent[y]!;
    }
  }
  return { top: x, left, right };
}
