/**
 * The best plan by trying everything, with arithmetic of its own: currents as complex numbers through windings as they are drawn,
 * added up along the record's own rows. It shares nothing with the search but the document.
 */
import type { LoadEntry, LoadingDocument, Series } from '../../lib/loading/model';
import type { Aim } from '../../lib/loading/problem';

type Complex = readonly [number, number];
const times = ([a, b]: Complex, [c, d]: Complex): Complex => [a * c - b * d, a * d + b * c];
const plus = (x: Complex, y: Complex): Complex => [x[0] + y[0], x[1] + y[1]];
const minus = (x: Complex, y: Complex): Complex => [x[0] - y[0], x[1] - y[1]];
const scaled = (x: Complex, k: number): Complex => [k * x[0], k * x[1]];
const over = (x: Complex, [c, d]: Complex): Complex => scaled(times(x, [c, -d]), 1 / (c * c + d * d));
const conj = ([a, b]: Complex): Complex => [a, -b];
const ZERO: Complex = [0, 0];
const at = (deg: number, size = 1): Complex => [
  size * Math.cos((deg * Math.PI) / 180),
  size * Math.sin((deg * Math.PI) / 180),
];

/** Currents above from currents below, windings as drawn; voltages of both sides taken as one. Only these groups. */
const WINDINGS: Record<string, (i: readonly Complex[]) => Complex[]> = {
  YNyn0: (i) => [...i],
  'centre-tap': (i) => [...i],
  // Each star winding below faces one between two phases above: a faces AC, AB.
  Dyn1: ([a, b, c]) => [minus(a!, b!), minus(b!, c!), minus(c!, a!)].map((x) => scaled(x, 1 / Math.sqrt(3))),
  Dyn11: ([a, b, c]) => [minus(a!, c!), minus(b!, a!), minus(c!, b!)].map((x) => scaled(x, 1 / Math.sqrt(3))),
  // The star winding A above faces the winding ab below, whose current is (Ia - Ib) / 3.
  YNd1: ([a, b, c]) => [minus(a!, b!), minus(b!, c!), minus(c!, a!)].map((x) => scaled(x, 1 / Math.sqrt(3))),
};
const LAG: Record<string, number> = { YNyn0: 0, 'centre-tap': 0, Dyn1: 30, Dyn11: -30, YNd1: 30 };

const LABELS = ['A', 'B', 'C'];
const figure = (s: Series | undefined, t: number): number => (typeof s === 'object' ? s[t]! : (s ?? 0));

interface Row {
  readonly id: string;
  readonly from: string;
  readonly to: string;
  readonly phases: readonly string[];
  readonly vectorGroup?: string;
}

interface Walked {
  readonly rows: readonly Row[];
  readonly above: ReadonlyMap<string, Row>;
  /** how far the voltages lag behind those of the source, degrees */
  readonly lag: ReadonlyMap<string, number>;
}

const known = new WeakMap<object, Walked>();

function walked(document: LoadingDocument): Walked {
  const before = known.get(document.sections);
  if (before) return before;
  const all: Row[] = [...document.sections, ...(document.transformers ?? [])];
  const rows: Row[] = [];
  const above = new Map<string, Row>();
  const lag = new Map<string, number>();
  const reached = new Map<string, Row | undefined>([[document.source, undefined]]);
  while (rows.length < all.length) {
    const row = all.find((r) => !rows.includes(r) && (reached.has(r.from) || reached.has(r.to)))!;
    const near = reached.has(row.from) ? row.from : row.to;
    const parent = reached.get(near);
    if (parent) above.set(row.id, parent);
    lag.set(row.id, (parent ? lag.get(parent.id)! : 0) + (LAG[row.vectorGroup ?? 'YNyn0'] ?? Number.NaN));
    reached.set(near === row.from ? row.to : row.from, row);
    rows.push(row);
  }
  const found = { rows, above, lag };
  known.set(document.sections, found);
  return found;
}

/** Currents of a load, amperes at voltageV, against the source's first phase. */
function currentsOf(load: LoadEntry, document: LoadingDocument, lag: number, t: number): Complex[] {
  const S: Complex = [1000 * figure(load.kW, t), 1000 * figure(load.kvar, t)];
  const V = LABELS.map((_, k) => at(-120 * k - lag, document.voltageV));
  const out: Complex[] = [ZERO, ZERO, ZERO];
  const on = load.phases.map((p) => LABELS.indexOf(p));
  if (on.length === 2 && !load.toNeutral && document.betweenPhases !== 'evenly') {
    const i = conj(over(S, minus(V[on[0]!]!, V[on[1]!]!)));
    out[on[0]!] = i;
    out[on[1]!] = scaled(i, -1);
  } else for (const p of on) out[p] = conj(over(scaled(S, 1 / on.length), V[p]!));
  return out;
}

function watchedRows(document: LoadingDocument, watch: readonly string[] | undefined): Row[] {
  const { rows, above } = walked(document);
  const laterals = new Set((document.laterals ?? []).map((l) => l.section));
  const inside = (row: Row | undefined): boolean => !!row && (laterals.has(row.id) || inside(above.get(row.id)));
  return rows.filter((r) => (watch ? watch.includes(r.id) : r.phases.length === 3 && !inside(r)));
}

/** Real and imaginary part of the three currents in each watched section, by snapshot, of these loads. */
function currentsIn(document: LoadingDocument, watched: readonly Row[], loads: readonly LoadEntry[]): Float64Array {
  const { rows, above, lag } = walked(document);
  const snapshots = document.snapshots?.length ?? 1;
  const out = new Float64Array(6 * watched.length * snapshots);
  for (let t = 0; t < snapshots; t++) {
    for (const load of loads) {
      if (load.phases.length === 0) continue;
      let currents = currentsOf(load, document, lag.get(load.section)!, t);
      for (let row = rows.find((r) => r.id === load.section); row; row = above.get(row.id)) {
        const w = watched.indexOf(row);
        const at = 6 * (w * snapshots + t);
        if (w >= 0) {
          currents.forEach(([re, im], k) => {
            out[at + 2 * k]! += re;
            out[at + 2 * k + 1]! += im;
          });
        }
        currents = WINDINGS[row.vectorGroup ?? 'YNyn0']!(currents);
      }
    }
  }
  return out;
}

/** Of each watched section in one snapshot: kW of the three phases, and the size of the neutral current in amperes. */
export function carried(document: LoadingDocument, watch: readonly string[] | undefined, t: number) {
  const watched = watchedRows(document, watch);
  const currents = currentsIn(document, watched, document.loads);
  const { lag } = walked(document);
  const snapshots = document.snapshots?.length ?? 1;
  return watched.map((r, w) => {
    const at6 = 6 * (w * snapshots + t);
    const i = LABELS.map((_, k): Complex => [currents[at6 + 2 * k]!, currents[at6 + 2 * k + 1]!]);
    const V = LABELS.map((_, k) => at(-120 * k - lag.get(r.id)!, document.voltageV));
    const kW = i.map((x, k) => times(V[k]!, conj(x))[0] / 1000);
    return { section: r.id, kW, neutralA: Math.hypot(...i.reduce(plus, ZERO)) };
  });
}

export interface ByHand {
  readonly aim: Aim;
  readonly measure?: 'kW' | 'neutral';
  readonly over?: 'worst' | 'sum';
  readonly watch?: readonly string[];
}

/** What is left of the unbalance, as the plan tells it. */
export function unbalanceByHand(document: LoadingDocument, options: ByHand): number {
  const watched = watchedRows(document, options.watch);
  return left(document, watched, currentsIn(document, watched, document.loads), options);
}

function left(
  document: LoadingDocument,
  watched: readonly Row[],
  currents: Float64Array,
  { measure = 'kW', over: joined = 'worst' }: ByHand,
): number {
  const snapshots = document.snapshots ?? [{ id: 'all' }];
  const lags = watched.map((r) => walked(document).lag.get(r.id)!);
  let [worst, sum] = [0, 0];
  for (let i = 0; 6 * i < currents.length; i++) {
    const V = voltages(document.voltageV, lags[Math.floor(i / snapshots.length)]!);
    let [off, mean] = [0, 0];
    const x = currents.subarray(6 * i, 6 * i + 6);
    if (measure === 'neutral') off = Math.hypot(x[0]! + x[2]! + x[4]!, x[1]! + x[3]! + x[5]!);
    else {
      const kW = (k: number) => (V[k]![0] * x[2 * k]! + V[k]![1] * x[2 * k + 1]!) / 1000;
      mean = (kW(0) + kW(1) + kW(2)) / 3;
      off = Math.max(Math.abs(kW(0) - mean), Math.abs(kW(1) - mean), Math.abs(kW(2) - mean));
    }
    worst = Math.max(worst, measure === 'neutral' ? off : mean === 0 ? 0 : (100 * off) / Math.abs(mean));
    sum += (snapshots[i % snapshots.length]!.weight ?? 1) * off;
  }
  return joined === 'worst' ? worst : sum;
}

const held = new Map<string, readonly Complex[]>();
function voltages(voltageV: number, lag: number): readonly Complex[] {
  const key = `${voltageV} ${lag}`;
  const known = held.get(key) ?? LABELS.map((_, k) => at(-120 * k - lag, voltageV));
  held.set(key, known);
  return known;
}

const ROLLS = ['ABC', 'BCA', 'CAB'];
const ORDERS = [...ROLLS, 'BAC', 'ACB', 'CBA'];

interface Choice {
  readonly cost: number;
  readonly loads: ReadonlySet<string>;
  /** for A, B, C; the first stays */
  readonly orders: readonly string[];
}

function choicesOf(document: LoadingDocument): Choice[] {
  const { above } = walked(document);
  const all: Row[] = [...document.sections, ...(document.transformers ?? [])];
  const under = (id: string | undefined, head: string): boolean =>
    id !== undefined && (id === head || under(above.get(id)?.id, head));
  const orders = (on: readonly string[], present: readonly string[], rolls: boolean) => {
    const seen = new Set<string>();
    return (rolls ? ROLLS : ORDERS).filter((o) => {
      const to = on.map((p) => o[LABELS.indexOf(p)]!).join('');
      if (seen.has(to) || [...to].some((p) => !present.includes(p))) return false;
      seen.add(to);
      return true;
    });
  };
  const laterals = (document.laterals ?? []).map((l): Choice => {
    const row = all.find((r) => r.id === l.section)!;
    const loads = document.loads.filter((x) => under(x.section, l.section) && x.phases.length > 0);
    const whole =
      l.threePhase === true || row.phases.length === 3 || loads.some((x) => x.threePhase || x.phases.length === 3);
    return {
      cost: l.cost ?? 1,
      loads: new Set(loads.map((x) => x.id)),
      orders: orders(row.phases, above.get(row.id)?.phases ?? LABELS, whole),
    };
  });
  const single = document.loads
    .filter((l) => l.movable && l.phases.length > 0)
    .map((l): Choice => {
      const present = all.find((r) => r.id === l.section)!.phases;
      return {
        cost: l.cost ?? 1,
        loads: new Set([l.id]),
        orders: orders(l.phases, present, l.threePhase === true || l.phases.length === 3),
      };
    });
  return [...laterals, ...single];
}

/** The best value over all plans, as `aim` counts; Infinity where none keeps the limit. Currents add up, so each choice's are reckoned once. */
export function bestByHand(document: LoadingDocument, options: ByHand): number {
  const { aim } = options;
  const watched = watchedRows(document, options.watch);
  const choices = choicesOf(document).map(({ cost, loads, orders }) => ({
    cost,
    currents: orders.map((order) => {
      const turned = document.loads
        .filter((l) => loads.has(l.id))
        .map((l) => ({ ...l, phases: l.phases.map((p) => order[LABELS.indexOf(p)]!) }));
      return currentsIn(document, watched, turned);
    }),
  }));
  const moving = new Set(choicesOf(document).flatMap((c) => [...c.loads]));
  let best = Number.POSITIVE_INFINITY;
  const next = (c: number, currents: Float64Array, moves: number, cost: number) => {
    if (aim.kind === 'best' && moves > aim.moves) return;
    if (c < choices.length) {
      const choice = choices[c]!;
      choice.currents.forEach((own, k) => {
        const sum = currents.map((x, i) => x + own[i]!);
        next(c + 1, sum, moves + (k === 0 ? 0 : 1), cost + (k === 0 ? 0 : choice.cost));
      });
      return;
    }
    const off = left(document, watched, currents, options);
    const none = aim.kind === 'limit' && off > aim.most + 1e-6;
    const value = aim.kind === 'limit' ? cost : off + (aim.kind === 'price' ? aim.perCost * cost : 0);
    if (!none) best = Math.min(best, value);
  };
  const fixed = document.loads.filter((l) => !moving.has(l.id));
  next(0, currentsIn(document, watched, fixed), 0, 0);
  return best;
}
