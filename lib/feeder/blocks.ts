/** What ties two sections of a feeder together besides the tree: loops through closed switches, measured ties. */
import type { FeederTree } from './model';
import { projection, STATES } from './permutation';

/** A statement on the permutations of two sections. */
export interface PairFactor {
  readonly id: string;
  readonly a: number;
  readonly b: number;
  /** weight of (permutation of a, permutation of b): [6 a + b] */
  readonly table: Float64Array;
}

/** Sections whose loops share a piece of the tree, and must be reckoned with together. */
export interface Block {
  /** the section (or source) that feeds the whole block; not of the block itself */
  readonly top: number;
  /** in feeding order */
  readonly sections: readonly number[];
  readonly factors: readonly PairFactor[];
}

/**
 * Two sections that are one set of conductors: what both have present must stand on the same phases.
 * A closed loop that does not close so would be a standing short circuit.
 */
export function sameConductors(id: string, a: number, b: number, mask: number): PairFactor {
  const table = new Float64Array(STATES * STATES);
  for (let s = 0; s < STATES; s++) {
    for (let t = 0; t < STATES; t++) table[STATES * s + t] = projection(s, mask) === projection(t, mask) ? 1 : 0;
  }
  return { id, a, b, table };
}

/** Groups factors into blocks; two that share a section of their tree paths are of one block. */
export function blocksOf(tree: FeederTree, factors: readonly PairFactor[]): Block[] {
  const owner = new Map<number, number>();
  const group = factors.map((_, i) => i);
  const find = (i: number): number => (group[i] === i ? i : find(group[i]!));
  const paths = factors.map((f) => pathBetween(tree, f.a, f.b));
  paths.forEach((path, i) => {
    for (const v of path.sections) {
      const other = owner.get(v);
      if (other === undefined) owner.set(v, i);
      else group[find(i)] = find(other);
    }
  });
  const blocks = new Map<number, { top: number; sections: Set<number>; factors: PairFactor[] }>();
  factors.forEach((factor, i) => {
    const { top, sections } = paths[i]!;
    const block = blocks.get(find(i)) ?? { top, sections: new Set(), factors: [] };
    block.top = Math.min(block.top, top);
    for (const v of sections) block.sections.add(v);
    block.factors.push(factor);
    blocks.set(find(i), block);
  });
  return [...blocks.values()].map((b) => ({ ...b, sections: [...b.sections].sort((x, y) => x - y) }));
}

/** The sections between two, and the one that feeds both. */
function pathBetween(tree: FeederTree, a: number, b: number): { top: number; sections: number[] } {
  const sections: number[] = [];
  let [x, y] = [a, b];
  while (x !== y) {
    if (x > y) {
      sections.push(x);
      x = tree.parent[x]!;
    } else {
      sections.push(y);
      y = tree.parent[y]!;
    }
  }
  return { top: x, sections };
}
