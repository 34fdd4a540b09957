/** The balancing problem as arrays: watched sections, what each move does to them, and what a state is worth. */
import type { Loading } from './model';
import { neutralOf } from './power';
import { carriedUp, loadPowers, type MovableUnit, unitPowers, unitsOf } from './units';

/**
 * What is made small. kW: largest deviation of a phase from the mean of the three, in kW (summed) or percent of the size of the mean
 * (worst; a section that carries nothing in sum does not count there: watch its neutral, or the sum).
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
  /** what counts: the worst watched section and snapshot, or the weighted sum of all; a limit is always for the worst */
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
  /** 1 where a transformer lies between a watched section and the next above: what is felt above then has other vectors, the next level */
  readonly crosses: Uint8Array;
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
  /** change of the vectors when a unit goes to a state: [unit][state][level], snapshots x width; the first level is where it is felt first */
  readonly change: readonly (readonly (readonly Float64Array[])[])[];
  readonly mostMoves: number;
  readonly perCost: number;
}

export function makeProblem(loading: Loading, options: ProblemOptions): Problem {
  const { measure = 'kW', aim } = options;
  const over = aim.kind === 'limit' ? 'worst' : (options.over ?? 'worst');
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
  const shape: Shape = {
    loading,
    measure,
    width: measure === 'kW' ? 3 : 2,
    watched,
    above,
    crosses: crossings(loading, watched, above),
  };
  const levels = (powers: Float64Array, at: number, w: number) =>
    w < 0 ? [] : levelsOf(shape, carriedUp(loading, powers, at, watched[w]!), w);
  const at = units.map((u, i) => u.states.map((map) => levels(unitPowers(loading, u, map), u.feltAt, entry[i]!)));
  const { start, totals } = startOf(shape, [
    ...fixed.map((l) => {
      const powers = loadPowers(loading, l, l.phases);
      const kW = totalsOf(powers);
      return { entry: up(l.section), levels: levels(powers, l.section, up(l.section)), kW };
    }),
    ...units.map((u, i) => ({
      entry: entry[i]!,
      levels: at[i]![0]!,
      kW: totalsOf(unitPowers(loading, u, u.states[0]!)),
    })),
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
    crosses: shape.crosses,
    rows,
    start,
    scale: scaleOf(loading, measure, over, totals),
    free: freeOf(aim, measure, totals),
    units,
    entry,
    change: at.map((states) => states.map((s) => s.map((level, i) => level.map((x, k) => x - states[0]![i]![k]!)))),
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

interface Shape extends Pick<Problem, 'loading' | 'measure' | 'width' | 'watched' | 'above' | 'crosses'> {}

function crossings({ feeder, lifts, volts }: Loading, watched: readonly number[], above: Int32Array): Uint8Array {
  return Uint8Array.from(watched, (v, w) => {
    if (above[w]! < 0) return 0;
    const top = watched[above[w]!]!;
    if (volts[v] !== volts[top]) return 1;
    for (let u = v; u > top; u = feeder.parent[u]!) if (lifts.has(u)) return 1;
    return 0;
  });
}

/** Vectors of powers felt first at a watched section, there and above each transformer on the way to the source. */
function levelsOf(shape: Shape, powers: Float64Array, first: number): Float64Array[] {
  const { loading, watched, above, crosses } = shape;
  const out = [vectors(shape, loading.volts[watched[first]!]!, powers)];
  for (let w = first; above[w]! >= 0; w = above[w]!) {
    const top = watched[above[w]!]!;
    carriedUp(loading, powers, watched[w]!, top);
    if (crosses[w]) out.push(vectors(shape, loading.volts[top]!, powers));
  }
  return out;
}

function vectors({ measure, width }: Shape, voltageV: number, powers: Float64Array): Float64Array {
  const out = new Float64Array((powers.length / 6) * width);
  for (let t = 0; 6 * t < powers.length; t++) {
    const p = powers.subarray(6 * t, 6 * t + 6);
    if (measure === 'neutral') out.set(neutralOf(p, voltageV), width * t);
    else {
      const mean = (p[0]! + p[2]! + p[4]!) / 3;
      for (let k = 0; k < 3; k++) out[width * t + k] = p[2 * k]! - mean;
    }
  }
  return out;
}

const totalsOf = (p: Float64Array): number[] =>
  Array.from({ length: p.length / 6 }, (_, t) => p[6 * t]! + p[6 * t + 2]! + p[6 * t + 4]!);

interface Part {
  readonly entry: number;
  readonly levels: readonly Float64Array[];
  readonly kW: readonly number[];
}

/** Vectors and total kW of every row, everything where it is. */
function startOf({ loading, width, watched, above, crosses }: Shape, parts: readonly Part[]) {
  const count = loading.snapshots.length;
  const start = new Float64Array(watched.length * count * width);
  const totals = new Float64Array(watched.length * count);
  for (const { entry, levels, kW } of parts) {
    let level = 0;
    for (let w = entry; w >= 0; w = above[w]!) {
      const v = levels[level]!;
      for (let k = 0; k < v.length; k++) start[w * v.length + k]! += v[k]!;
      for (let t = 0; t < count; t++) totals[w * count + t]! += kW[t]!;
      level += crosses[w]!;
    }
  }
  return { start, totals };
}

/** Worst is told in percent of the mean (kW) or in amperes; a sum in kW or amperes times the weight of the snapshot. */
function scaleOf({ snapshots }: Loading, measure: Measure, over: 'worst' | 'sum', totals: Float64Array): Float64Array {
  return totals.map((total, row) => {
    if (over === 'sum') return snapshots[row % snapshots.length]!.weight;
    if (measure === 'neutral') return 1;
    // What is fed back is unbalanced as much as what is drawn; where nothing flows a percentage says nothing.
    return total === 0 ? 0 : 300 / Math.abs(total);
  });
}

function freeOf(aim: Aim, measure: Measure, totals: Float64Array): Float64Array {
  if (aim.kind !== 'limit') return new Float64Array(totals.length);
  return totals.map((total) => (measure === 'neutral' ? aim.most : (aim.most * Math.abs(total)) / 300));
}

/** Length of the vector of a row: largest deviation of a phase, or amperes in the neutral. */
export function lengthOf(width: number, vector: Float64Array, row: number): number {
  const i = width * row;
  const a = vector[i]!;
  const b = vector[i + 1]!;
  return width === 2 ? Math.hypot(a, b) : Math.max(Math.abs(a), Math.abs(b), Math.abs(vector[i + 2]!));
}
