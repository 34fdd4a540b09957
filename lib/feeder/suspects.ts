/** Where conductors probably cross: the sections between what is settled, and the smallest set that holds nearly all of the doubt. */
import { bestProjection, type Solution } from './solve';

/** A section is settled when its phases are this probable: a crossing above it and one below it are different crossings. */
export const SETTLED = 0.99;
/** Share of a crossing's probability that its set of sections holds. */
export const CREDIBLE = 0.95;

export interface Suspect {
  /** expected number of changes among the sections; near 1 when a crossing is established */
  readonly mass: number;
  /** the smallest set that holds 95 % of it, most probable first */
  readonly sections: readonly { readonly section: number; readonly probability: number }[];
}

/** A crossing is suspected from this mass on. */
export const SUSPECTED = 0.5;

/**
 * Suspected crossings, most probable first; those below `least` are not told.
 *
 * A stretch is what lies between evidences (or between the source and evidence), cut wherever the phases are settled. A branch with no
 * evidence below it is of no stretch: nothing read there can tell of a crossing, and the small prior doubt of its many sections, summed,
 * would look like one.
 * @param known sections with evidence of their own
 */
export function suspects(solution: Solution, known: Iterable<number>, least = SUSPECTED): Suspect[] {
  const stretch = stretches(solution, known);
  const members = new Map<number, number[]>();
  for (let v = 1; v < solution.tree.count; v++) {
    if (stretch[v]! < 0) continue;
    const list = members.get(stretch[v]!);
    if (list) list.push(v);
    else members.set(stretch[v]!, [v]);
  }
  return [...members.values()]
    .map((sections) => credible(solution, sections))
    .filter((s) => s.mass >= least)
    .sort((a, b) => b.mass - a.mass);
}

/** For each section the least section of its stretch; -1 where nothing below it is known. */
function stretches(solution: Solution, known: Iterable<number>): Int32Array {
  const { tree } = solution;
  const stretch = new Int32Array(tree.count).fill(-1);
  for (const v of known) stretch[v] = v;
  for (const { a, b } of solution.factors) {
    stretch[a] = a;
    stretch[b] = b;
  }
  for (let v = tree.count - 1; v > 0; v--) if (stretch[v]! >= 0) stretch[tree.parent[v]!] = tree.parent[v]!;
  // A section precedes those it feeds, so its stretch is final when they join it.
  for (let v = 1; v < tree.count; v++) {
    const u = tree.parent[v]!;
    if (stretch[v]! >= 0 && u > 0 && bestProjection(solution, u).probability < SETTLED) stretch[v] = stretch[u]!;
  }
  return stretch;
}

function credible(solution: Solution, sections: readonly number[]): Suspect {
  let mass = 0;
  for (const v of sections) mass += solution.change[v]!;
  if (mass < 1e-6) return { mass, sections: [] };
  const ranked = sections
    .map((section) => ({ section, probability: solution.change[section]! }))
    .sort((a, b) => b.probability - a.probability || a.section - b.section);
  let held = 0;
  let n = 0;
  while (n < ranked.length && held < CREDIBLE * mass) held += ranked[n++]!.probability;
  return { mass, sections: ranked.slice(0, n) };
}
