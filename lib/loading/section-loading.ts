/** What each section carries: power and current by phase, unbalance, neutral current. */
import { fromRectangular, type Phasor } from '../phasor';
import type { Loading } from './model';
import { addPower, neutralOf } from './power';
import { lifted } from './through-transformer';

export interface PhaseLoad {
  readonly phase: string;
  readonly kW: number;
  readonly kvar: number;
  /** at nominal voltage */
  readonly amperes: number;
}

export interface SectionLoading {
  readonly section: string;
  readonly snapshot: string;
  readonly phases: readonly PhaseLoad[];
  /** load whose phase is not known; in none of the other figures */
  readonly undecided: { readonly kW: number; readonly kvar: number; readonly loads: number };
  /** largest deviation of a phase from the mean of the three, of the mean, percent; null when nothing is drawn or a phase is absent */
  readonly unbalancePct: { readonly kW: number | null; readonly amperes: number | null };
  /** angle against the voltage of the first phase */
  readonly neutral: Phasor;
}

/** Powers [P0, Q0, ..] of every section and snapshot, at 6 x (section x snapshots + snapshot); of a transformer those below it. */
export function sectionPowers(loading: Loading): Float64Array {
  const { feeder, loads, snapshots, rule } = loading;
  const count = snapshots.length;
  const powers = new Float64Array(6 * feeder.count * count);
  for (const load of loads) {
    if (load.phases.length === 0) continue;
    for (let t = 0; t < count; t++) {
      const at = 6 * (load.section * count + t);
      addPower(
        powers.subarray(at, at + 6),
        { kW: load.kW[t]!, kvar: load.kvar[t]!, toNeutral: load.toNeutral },
        load.phases,
        rule,
      );
    }
  }
  sumUpwards(loading, powers, 6 * count, true);
  return powers;
}

function sumUpwards({ feeder, lifts }: Loading, values: Float64Array, width: number, arePowers = false): void {
  for (let v = feeder.count - 1; v > 0; v--) {
    const u = feeder.parent[v]!;
    const lift = arePowers ? lifts.get(v) : undefined;
    const own = values.subarray(width * v, width * v + width);
    const seen = lift ? lifted(lift, own.slice()) : own;
    for (let k = 0; k < width; k++) values[width * u + k]! += seen[k]!;
  }
}

/** Loading of every section in every snapshot, the source first; sections in the order of the feeder. */
export function sectionLoading(loading: Loading): SectionLoading[] {
  const { feeder, snapshots } = loading;
  const powers = sectionPowers(loading);
  const undecided = undecidedLoad(loading);
  const rows: SectionLoading[] = [];
  for (let v = 0; v < feeder.count; v++) {
    snapshots.forEach(({ id }, t) => {
      const i = v * snapshots.length + t;
      rows.push(rowOf(loading, v, id, powers.subarray(6 * i, 6 * i + 6), undecided.subarray(3 * i, 3 * i + 3)));
    });
  }
  return rows;
}

function undecidedLoad(loading: Loading): Float64Array {
  const count = loading.snapshots.length;
  const out = new Float64Array(3 * loading.feeder.count * count);
  for (const load of loading.loads) {
    if (load.phases.length > 0) continue;
    for (let t = 0; t < count; t++) {
      const at = 3 * (load.section * count + t);
      out[at]! += load.kW[t]!;
      out[at + 1]! += load.kvar[t]!;
      out[at + 2]! += 1;
    }
  }
  sumUpwards(loading, out, 3 * count);
  return out;
}

function rowOf(
  { feeder, volts }: Loading,
  v: number,
  snapshot: string,
  p: Float64Array,
  undecided: Float64Array,
): SectionLoading {
  const phases = feeder.phases.map((phase, k) => {
    const kW = p[2 * k]!;
    const kvar = p[2 * k + 1]!;
    return { phase, kW, kvar, amperes: (1000 * Math.hypot(kW, kvar)) / volts[v]! };
  });
  const whole = v === 0 || feeder.mask[v] === 7;
  const pct = (values: readonly number[]) => (whole ? deviationPct(values) : null);
  const [re, im] = neutralOf(p, volts[v]!);
  return {
    section: feeder.ids[v]!,
    snapshot,
    phases,
    undecided: { kW: undecided[0]!, kvar: undecided[1]!, loads: undecided[2]! },
    unbalancePct: { kW: pct(phases.map((q) => q.kW)), amperes: pct(phases.map((q) => q.amperes)) },
    neutral: fromRectangular(re, im),
  };
}

/**
 * Largest deviation from the mean, of the mean, percent; null when the mean is not above 0.
 * @example deviationPct([1400, 952.5, 1137.5]) // ~20.34
 */
export function deviationPct(values: readonly number[]): number | null {
  const mean = values.reduce((a, b) => a + b, 0) / values.length;
  if (!(mean > 0)) return null;
  return (100 * Math.max(...values.map((x) => Math.abs(x - mean)))) / mean;
}
