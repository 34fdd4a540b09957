/**
 * Where the next reading tells most. First by the labels in doubt that hang on a section, then, when no section has many below it,
 * by the bits a reading there would give, which bisects what is left of a crossing.
 */
import type { SiteEvidence } from './evidence';
import { projection, STATES } from './permutation';
import { bestProjection, type Solution, solve } from './solve';
import type { SweepArrays } from './sweep';

export interface NextBest {
  readonly section: number;
  readonly by: 'labels-below' | 'information';
  /** expected labels wrong among the unmeasured sections below, or bits */
  readonly settles: number;
}

/** Below this many labels the second score takes over. */
export const FEW_LABELS = 10;

/** Sections ranked by what a reading would settle; `allowed` are those that can be read. */
export function nextBest(solution: Solution, measured: Uint8Array, allowed?: Uint8Array, most = 10): NextBest[] {
  const { tree } = solution;
  const below = new Float64Array(tree.count);
  for (let v = tree.count - 1; v > 0; v--) {
    if (!measured[v]) below[v]! += 1;
    below[tree.parent[v]!]! += below[v]!;
  }
  const open: number[] = [];
  const labels = new Float64Array(tree.count);
  for (let v = 1; v < tree.count; v++) {
    if (measured[v] || (allowed && !allowed[v])) continue;
    open.push(v);
    labels[v] = (1 - bestProjection(solution, v).probability) * below[v]!;
  }
  const most1 = open.reduce((m, v) => Math.max(m, labels[v]!), 0);
  const by = most1 >= FEW_LABELS ? 'labels-below' : 'information';
  const score = by === 'labels-below' ? labels : bits(solution, open);
  return open
    .sort((a, b) => score[b]! - score[a]! || a - b)
    .slice(0, most)
    .filter((v) => score[v]! > 0)
    .map((section) => ({ section, by, settles: score[section]! }));
}

/** Entropy of the observable phases of each section, in bits: what a nearly noiseless reading there would tell. */
function bits({ tree, belief }: Solution, sections: readonly number[]): Float64Array {
  const out = new Float64Array(tree.count);
  for (const v of sections) {
    const mask = tree.mask[v]!;
    for (let s = 0; s < STATES; s++) {
      let sum = 0;
      let first = true;
      for (let t = 0; t < STATES; t++) {
        if (projection(t, mask) !== projection(s, mask)) continue;
        if (t < s) first = false;
        sum += belief[STATES * v + t]!;
      }
      if (first && sum > 0) out[v]! -= sum * Math.log2(sum);
    }
  }
  return out;
}

export interface DayPlan {
  /** in the order of choice */
  readonly choices: readonly NextBest[];
  /** the same sections in the order of a walk along the feeder: a hint for travel */
  readonly travel: readonly number[];
}

/**
 * A crew's day: one section after the other, each chosen as if the ones before had read what is expected.
 * One feeder's beliefs are worked out again for each.
 */
export function dayPlan(
  solution: Solution,
  evidence: readonly SiteEvidence[],
  measured: Uint8Array,
  visits: number,
  allowed?: Uint8Array,
  arrays?: SweepArrays,
): DayPlan {
  const done = measured.slice();
  const assumed: SiteEvidence[] = [...evidence];
  const choices: NextBest[] = [];
  let now = solution;
  while (choices.length < visits) {
    const choice = nextBest(now, done, allowed, 1)[0];
    if (!choice) break;
    choices.push(choice);
    done[choice.section] = 1;
    assumed.push({ section: choice.section, from: [], likelihood: expected(now, choice.section) });
    now = solve(now.tree, assumed, now.factors, arrays);
  }
  return { choices, travel: travelOrder(solution, choices) };
}

/** The likeliest phases, a hundred times as likely as any other. */
function expected(solution: Solution, v: number): Float64Array {
  const { state } = bestProjection(solution, v);
  const mask = solution.tree.mask[v]!;
  return Float64Array.from({ length: STATES }, (_, s) => (projection(s, mask) === projection(state, mask) ? 1 : 0.01));
}

/** Depth first from the source, so that neighbours on the feeder follow each other. */
function travelOrder({ tree }: Solution, choices: readonly NextBest[]): number[] {
  const path = (v: number): number[] => {
    const up: number[] = [];
    for (let u = v; u > 0; u = tree.parent[u]!) up.push(u);
    return up.reverse();
  };
  return choices
    .map((c) => path(c.section))
    .sort((a, b) => {
      let i = 0;
      while (i < a.length && i < b.length && a[i] === b[i]) i++;
      return (a[i] ?? -1) - (b[i] ?? -1);
    })
    .map((p) => p[p.length - 1]!);
}
