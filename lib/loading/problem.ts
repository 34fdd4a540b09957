/** The balancing problem as arrays: watched sections, what each move does to them, and what a state is worth. */
import type { Loading, PlacedLoad } from './model';
import { addPower, neutralOf } from './power';
import { type MovableUnit, unitPowers, unitsOf } from './units';

/**
 * What is made small. kW: largest deviation of a phase from the mean of the three, in kW (summed) or percent of the mean (worst).
 * neutral: current in the neutral, amperes.
 */
export type Measure = 'kW' | 'neutral';

/**
 * best: the best that so many moves can do. limit: the cheapest moves after which no watched section exceeds the limit (percent of
 * the mean for kW, amperes for neutral). price: unbalance plus so much for each unit of cost.
 */
export type Aim =
  | { readonly kind: 'best'; readonly moves: number }
  | { readonly kind: 'limit'; readonly most: number }
  | { readonly kind: 'price'; readonly perCost: number };

export interface ProblemOptions {
  readonly aim: Aim;
  readonly measure?: Measure;
  /** what counts: the worst watched section and snapshot, or the weighted sum of all */
  readonly over?: 'worst' | 'sum';
  /** ids of the sections to watch; left out: every section with three phases that does not move itself */
  readonly watch?: readonly string[];
}

/** A row is one watched section in one snapshot; its vector is centred (kW) or the neutral phasor (amperes). */
export interface Problem {
  readonly loading: Loading;
  readonly measure: Measure;
  readonly over: 'worst' | 'sum';
  readonly aim: Aim;
  /** 3 deviations or 2 parts of a phasor */
  readonly width: 2 | 3;
  readonly snapshots: number;
  /** watched sections, each after the one above it */
  readonly watched: readonly number[];
  /** index in `watched` of the next watched section above, -1 for none */
  readonly above: Int32Array;
  readonly rows: number;
  /** vectors of the rows with everything where the record says */
  readonly start: Float64Array;
  /** factor from the length of a vector to what counts */
  readonly scale: Float64Array;
  /** length of the vector that is allowed for nothing, by row: the limit, else 0 */
  readonly free: Float64Array;
  readonly units: readonly MovableUnit[];
  /** index in `watched` at which each unit is felt first, -1 for none */
  readonly entry: Int32Array;
  /** change of the vectors when a unit goes to a state: [unit][state], snapshots x width */
  readonly change: readonly (readonly Float64Array[])[];
  readonly mostMoves: number;
  readonly perCost: number;
}

export function makeProblem(loading: Loading, options: ProblemOptions): Problem {
  const { measure = 'kW', over = 'worst', aim } = options;
  const { units, fixed, inside } = unitsOf(loading);
  const watched = watchedSections(loading, inside, options.watch);
  const index = new Int32Array(loading.feeder.count).fill(-1);
  watched.forEach((v, i) => {
    index[v] = i;
  });
  const up = (v: number): number => {
    for (let u = v; u > 0; u = loading.feeder.parent[u]!) if (index[u]! >= 0) return index[u]!;
    return index[0]!;
  };
  const above = Int32Array.from(watched, (v) => (v === 0 ? -1 : up(loading.feeder.parent[v]!)));
  const entry = Int32Array.from(units, (u) => up(u.feltAt));
  const snapshots = loading.snapshots.length;
  const shape = { measure, voltageV: loading.voltageV, width: measure === 'kW' ? 3 : 2 } as const;
  const at = units.map((u) => u.states.map((map) => vectors(shape, snapshots, (t) => unitPowers(loading, u, map, t))));
  const { start, totals } = startOf(loading, shape, watched.length, above, [
    ...fixed.map((l) => ({ entry: up(l.section), powers: (t: number) => powersOf(loading, l, t) })),
    ...units.map((u, i) => ({ entry: entry[i]!, powers: (t: number) => unitPowers(loading, u, u.states[0]!, t) })),
  ]);
  const rows = watched.length * snapshots;
  return {
    loading,
    measure,
    over,
    aim,
    width: shape.width,
    snapshots,
    watched,
    above,
    rows,
    start,
    scale: scaleOf(loading, measure, over, totals),
    free: freeOf(aim, measure, totals),
    units,
    entry,
    change: at.map((states) => states.map((s) => s.map((x, k) => x - states[0]![k]!))),
    mostMoves: aim.kind === 'best' ? aim.moves : units.length,
    perCost: aim.kind === 'price' ? aim.perCost : 0,
  };
}

function watchedSections({ feeder }: Loading, inside: Uint8Array, watch: readonly string[] | undefined): number[] {
  if (!watch) return Array.from(feeder.ids.keys()).filter((v) => v > 0 && feeder.mask[v] === 7 && !inside[v]);
  const unknown = watch.filter((id) => !feeder.indexOf.has(id));
  if (unknown.length > 0) throw new RangeError(`watch: section ${unknown.join(', ')} is not in feeder ${feeder.id}`);
  const moving = watch.filter((id) => inside[feeder.indexOf.get(id)!]);
  if (moving.length > 0) throw new RangeError(`watch: section ${moving.join(', ')} lies in a lateral that may move`);
  return [...new Set(watch.map((id) => feeder.indexOf.get(id)!))].sort((a, b) => a - b);
}

interface Shape {
  readonly measure: Measure;
  readonly voltageV: number;
  readonly width: 2 | 3;
}

function vectors({ measure, voltageV, width }: Shape, snapshots: number, powers: (t: number) => Float64Array) {
  const out = new Float64Array(width * snapshots);
  for (let t = 0; t < snapshots; t++) {
    const p = powers(t);
    if (measure === 'neutral') out.set(neutralOf(p, voltageV), width * t);
    else {
      const mean = (p[0]! + p[2]! + p[4]!) / 3;
      for (let k = 0; k < 3; k++) out[width * t + k] = p[2 * k]! - mean;
    }
  }
  return out;
}

const powersOf = ({ rule }: Loading, l: PlacedLoad, t: number) =>
  addPower(new Float64Array(6), { kW: l.kW[t]!, kvar: l.kvar[t]!, toNeutral: l.toNeutral }, l.phases, rule);

/** Vectors and total kW of every row, everything where it is. */
function startOf(
  { snapshots }: Loading,
  shape: Shape,
  watched: number,
  above: Int32Array,
  parts: readonly { readonly entry: number; readonly powers: (t: number) => Float64Array }[],
) {
  const count = snapshots.length;
  const start = new Float64Array(watched * count * shape.width);
  const totals = new Float64Array(watched * count);
  for (const { entry, powers } of parts) {
    const v = vectors(shape, count, powers);
    for (let w = entry; w >= 0; w = above[w]!) {
      for (let k = 0; k < v.length; k++) start[w * v.length + k]! += v[k]!;
      for (let t = 0; t < count; t++) {
        const p = powers(t);
        totals[w * count + t]! += p[0]! + p[2]! + p[4]!;
      }
    }
  }
  return { start, totals };
}

/** Worst is told in percent of the mean (kW) or in amperes; a sum in kW or amperes times the weight of the snapshot. */
function scaleOf({ snapshots }: Loading, measure: Measure, over: 'worst' | 'sum', totals: Float64Array): Float64Array {
  return totals.map((total, row) => {
    if (over === 'sum') return snapshots[row % snapshots.length]!.weight;
    if (measure === 'neutral') return 1;
    return total > 0 ? 300 / total : 0;
  });
}

function freeOf(aim: Aim, measure: Measure, totals: Float64Array): Float64Array {
  if (aim.kind !== 'limit') return new Float64Array(totals.length);
  return totals.map((total) => (measure === 'neutral' ? aim.most : (aim.most * Math.max(total, 0)) / 300));
}

/** Length of the vector of a row: largest deviation of a phase, or amperes in the neutral. */
export function lengthOf(width: number, vector: Float64Array, row: number): number {
  const i = width * row;
  const a = vector[i]!;
  const b = vector[i + 1]!;
  return width === 2 ? Math.hypot(a, b) : Math.max(Math.abs(a), Math.abs(b), Math.abs(vector[i + 2]!));
}
