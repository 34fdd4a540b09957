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

/** Suspected crossings, most probable first; those below `least` are not told. */
export function suspects(solution: Solution, least = SUSPECTED): Suspect[] {
  const groups = betweenSettled(solution);
  const members = new Map<number, number[]>();
  for (let v = 1; v < solution.tree.count; v++) {
    const g = groups[v]!;
    const list = members.get(g);
    if (list) list.push(v);
    else members.set(g, [v]);
  }
  return [...members.values()]
    .map((sections) => credible(solution, sections))
    .filter((s) => s.mass >= least)
    .sort((a, b) => b.mass - a.mass);
}

/** For each section the least section of its group: those that meet at sections whose phases are not settled. */
export function betweenSettled(solution: Solution): Int32Array {
  const { tree } = solution;
  const group = Int32Array.from({ length: tree.count }, (_, v) => v);
  const open = new Uint8Array(tree.count);
  for (let v = 1; v < tree.count; v++) open[v] = bestProjection(solution, v).probability < SETTLED ? 1 : 0;
  // A section precedes those it feeds, so its group is final when they join it.
  for (let v = 1; v < tree.count; v++) if (open[tree.parent[v]!]) group[v] = group[tree.parent[v]!]!;
  return group;
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
