/**
 * The problem as a mixed-integer linear program, written in the LP text format that solvers commonly read.
 * Units that do the same (same place, same changes, same cost) are one integer variable for each state: how many of them go there.
 */
import type { Problem } from './problem';

export interface SolverAnswer {
  readonly status: 'optimal' | 'feasible' | 'infeasible' | 'none';
  readonly objective?: number;
  /** proven: no solution is below */
  readonly bound?: number;
  readonly values?: ReadonlyMap<string, number>;
}

/** Solves an LP text, minimising; must come back within about `timeS` seconds. `start` names values of a known solution. */
export type Solver = (
  lp: string,
  options: { readonly timeS: number; readonly start?: ReadonlyMap<string, number> },
) => SolverAnswer | Promise<SolverAnswer>;

export interface Milp {
  readonly text: string;
  /** places of the units that a solution's values mean */
  placesOf(values: ReadonlyMap<string, number>): Int32Array;
  /** values of the integer variables that say the same as these places */
  valuesOf(at: Int32Array): ReadonlyMap<string, number>;
}

/** Directions in which the neutral current is held: with 24 its length is under-estimated by at most 1 - cos(7.5 deg) = 0.86 %. */
const DIRECTIONS = 24;

interface Group {
  readonly members: readonly number[];
  readonly states: number;
}

/** around: a polygon around the circle of the neutral current, so that its bound holds; inside: within it, so that its limits hold. */
export function milpOf(problem: Problem, polygon: 'around' | 'inside' = 'around'): Milp {
  const groups = groupsOf(problem);
  const name = (g: number, s: number): string => `n${g}_${s}`;
  const moves = groups.flatMap((g, i) => range(1, g.states).map((s) => name(i, s)));
  const objective = objectiveOf(problem, groups, name);
  const lines = [
    'Minimize',
    wrapped(`obj: ${objective || '0 one'}`),
    'Subject To',
    ...groups.map((g, i) =>
      wrapped(
        `g${i}: ${range(1, g.states)
          .map((s) => name(i, s))
          .join(' + ')} <= ${g.members.length}`,
      ),
    ),
    ...flowRows(problem, groups, name),
    ...unbalanceRows(problem, polygon === 'inside' && problem.width === 2 ? Math.cos(Math.PI / DIRECTIONS) : 1),
    ...(problem.aim.kind === 'best' && moves.length > 0
      ? [wrapped(`most: ${moves.join(' + ')} <= ${problem.mostMoves}`)]
      : []),
    'Bounds',
    ' one = 1',
    ...flowNames(problem).map((f) => ` ${f} free`),
    ...groups.flatMap((g, i) => range(1, g.states).map((s) => ` 0 <= ${name(i, s)} <= ${g.members.length}`)),
    ...(moves.length === 0 ? [] : ['General', wrapped(` ${moves.join(' ')}`)]),
    'End',
    '',
  ];
  return {
    text: lines.join('\n'),
    placesOf: (values) => placesOf(problem, groups, (g, s) => values.get(name(g, s)) ?? 0),
    valuesOf: (at) =>
      new Map(
        groups.flatMap((g, i) =>
          range(1, g.states).map((s) => [name(i, s), g.members.filter((u) => at[u] === s).length] as const),
        ),
      ),
  };
}

const range = (from: number, to: number): number[] =>
  Array.from({ length: Math.max(0, to - from) }, (_, i) => from + i);

function groupsOf({ units, entry, change }: Problem): Group[] {
  const groups = new Map<string, number[]>();
  units.forEach((u, i) => {
    if (u.states.length < 2) return;
    const key = `${entry[i]} ${u.cost} ${change[i]!.map((c) => c.map((l) => l.join()).join('/')).join(';')}`;
    const group = groups.get(key);
    if (group) group.push(i);
    else groups.set(key, [i]);
  });
  return [...groups.values()].map((members) => ({ members, states: units[members[0]!]!.states.length }));
}

function placesOf({ units }: Problem, groups: readonly Group[], count: (g: number, s: number) => number): Int32Array {
  const at = new Int32Array(units.length);
  groups.forEach((g, i) => {
    let next = 0;
    for (let s = 1; s < g.states; s++) {
      for (let k = Math.round(count(i, s)); k > 0 && next < g.members.length; k--) at[g.members[next++]!] = s;
    }
  });
  return at;
}

type Name = (g: number, s: number) => string;

function objectiveOf(problem: Problem, groups: readonly Group[], name: Name): string {
  const { aim, over, perCost, scale, rows } = problem;
  const price = aim.kind === 'limit' ? 1 : perCost;
  const costs = groups.flatMap((g, i) =>
    range(1, g.states).map((s) => [price * problem.units[g.members[0]!]!.cost, name(i, s)] as const),
  );
  if (aim.kind === 'limit') return sumOf(costs);
  if (over === 'worst') return sumOf([[1, 'z'], ...costs]);
  return sumOf([...range(0, rows).map((r) => [scale[r]!, `u${r}`] as const), ...costs]);
}

const sumOf = (terms: readonly (readonly [number, string])[]): string => terms.map(([c, v]) => term(c, v)).join('');
const term = (c: number, v: string): string => (c === 0 ? '' : ` ${c < 0 ? '-' : '+'} ${text(Math.abs(c))} ${v}`);
const text = (x: number): string => String(Number(x.toPrecision(12)));

/** Only two of three deviations are needed: they sum to zero. */
const FLOWS = 2;
const flow = (row: number, k: number): string => `f${row}_${k}`;
const flowNames = ({ rows }: Problem): string[] =>
  range(0, rows).flatMap((r) => range(0, FLOWS).map((k) => flow(r, k)));

/**
 * What a watched section carries: what is felt there first, what the watched sections next below carry, and one by one what comes
 * through a transformer, whose vectors are others above it.
 */
function flowRows(problem: Problem, groups: readonly Group[], name: Name): string[] {
  const { watched, above, crosses, snapshots, width, start, entry, change } = problem;
  const below: number[][] = watched.map(() => []);
  const own: { readonly i: number; readonly level: number }[][] = watched.map(() => []);
  above.forEach((a, w) => {
    if (a >= 0 && !crosses[w]) below[a]!.push(w);
  });
  groups.forEach((g, i) => {
    let level = 0;
    let isFelt = true;
    for (let w = entry[g.members[0]!]!; w >= 0; w = above[w]!) {
      if (isFelt) own[w]!.push({ i, level });
      isFelt = crosses[w] === 1;
      level += crosses[w]!;
    }
  });
  const at = (w: number, t: number, k: number) => start[width * (w * snapshots + t) + k]!;
  const lines: string[] = [];
  for (let w = 0; w < watched.length; w++) {
    for (let t = 0; t < snapshots; t++) {
      for (let k = 0; k < FLOWS; k++) {
        const children = below[w]!.map((c) => [-1, flow(c * snapshots + t, k)] as const);
        const felt = own[w]!.flatMap(({ i, level }) => {
          const u = groups[i]!.members[0]!;
          return range(1, groups[i]!.states).map((s) => [-change[u]![s]![level]![width * t + k]!, name(i, s)] as const);
        });
        const constant = at(w, t, k) - below[w]!.reduce((sum, c) => sum + at(c, t, k), 0);
        const sum = sumOf([[1, flow(w * snapshots + t, k)], ...children, ...felt]);
        lines.push(wrapped(`c${w}_${t}_${k}:${sum} = ${text(constant)}`));
      }
    }
  }
  return lines;
}

function unbalanceRows(problem: Problem, shrink: number): string[] {
  const { rows, aim, over, scale, free } = problem;
  const directions = problem.width === 3 ? DEVIATIONS : NEUTRAL;
  const lines: string[] = [];
  for (let r = 0; r < rows; r++) {
    if (scale[r] === 0) continue;
    directions.forEach(([a, b], d) => {
      const along = term(a, flow(r, 0)) + term(b, flow(r, 1));
      if (aim.kind === 'limit') lines.push(`d${r}_${d}:${along} <= ${text(shrink * free[r]!)}`);
      else if (over === 'sum') lines.push(`d${r}_${d}:${along} - u${r} <= 0`);
      else lines.push(`d${r}_${d}:${along} - ${text(1 / scale[r]!)} z <= 0`);
    });
  }
  return lines;
}

const DEVIATIONS = [
  [1, 0],
  [-1, 0],
  [0, 1],
  [0, -1],
  [-1, -1],
  [1, 1],
] as const;
const NEUTRAL = range(0, DIRECTIONS).map(
  (k) => [Math.cos((2 * Math.PI * k) / DIRECTIONS), Math.sin((2 * Math.PI * k) / DIRECTIONS)] as const,
);

/** Readers of the format may not take long lines. */
function wrapped(line: string): string {
  return line.replace(/(.{200,}?) (?=[+-] |n\d)/g, '$1\n ');
}
