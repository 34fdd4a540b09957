/** A feeder with its loads, ready to be reckoned with: who hangs where, on which phases, and what may be moved. */

import type { Feeder, FeederDocument } from '../feeder/model';
import { makeFeeder } from '../feeder/model';
import { UNKNOWN } from '../feeder/model-windings';
import { checkLoading } from './model-check';
import type { BetweenPhases } from './power';
import { type Lift, liftProblems, liftsOf } from './through-transformer';

/** Power or current of a load; one figure, or one for each snapshot. */
export type Series = number | readonly number[];

/** A service transformer or customer. Give kW (and kvar) or amperes. */
export interface LoadEntry {
  readonly id: string;
  readonly section: string;
  /** phases in the record or as identified; empty when not known: then it is shown as undecided and stays out of every plan until read */
  readonly phases: readonly string[];
  readonly kW?: Series;
  readonly kvar?: Series;
  /** current of one phase, amperes, with its power factor (left out: 1; lagging positive) */
  readonly amperes?: Series;
  readonly powerFactor?: number;
  /** on two phases: each to neutral, not between the two */
  readonly toNeutral?: boolean;
  /** may be moved to another phase by itself */
  readonly movable?: boolean;
  /** what one move costs in the user's unit; left out: 1 */
  readonly cost?: number;
  /** supplies a three-phase customer (an open delta too): its phases may only be rolled */
  readonly threePhase?: boolean;
  /** terminals of the network on which its phases are read, in the order of `phases` */
  readonly terminals?: readonly string[];
}

/** A section with everything below it that moves as a whole at its tap. */
export interface LateralEntry {
  /** first section of the lateral */
  readonly section: string;
  readonly cost?: number;
  /** supplies a three-phase customer: only rolls */
  readonly threePhase?: boolean;
  /** terminals on which its phases are read, in the order of the phases of its first section */
  readonly terminals?: readonly string[];
}

export interface SnapshotEntry {
  readonly id: string;
  /** hours or any other weight; left out: 1 */
  readonly weight?: number;
}

export interface LoadingDocument extends Omit<FeederDocument, 'loads'> {
  /** nominal voltage phase to neutral, volts */
  readonly voltageV: number;
  /** the same below a transformer, by its id; left out: currents there are told as seen from above */
  readonly voltageBelowV?: Readonly<Record<string, number>>;
  readonly loads: readonly LoadEntry[];
  readonly laterals?: readonly LateralEntry[];
  readonly snapshots?: readonly SnapshotEntry[];
  readonly betweenPhases?: BetweenPhases;
  /** resistance of one phase conductor by section, ohms; a section left out counts as lossless */
  readonly resistanceOhm?: Readonly<Record<string, number>>;
}

export interface PlacedLoad {
  readonly entry: LoadEntry;
  readonly section: number;
  /** phase indices; empty when undecided */
  readonly phases: readonly number[];
  readonly toNeutral: boolean;
  /** by snapshot */
  readonly kW: readonly number[];
  readonly kvar: readonly number[];
}

export interface Loading {
  readonly document: LoadingDocument;
  readonly feeder: Feeder;
  /** nominal voltage phase to neutral of each section, volts */
  readonly volts: Float64Array;
  /** transformers that do not carry each phase through by itself, by section */
  readonly lifts: ReadonlyMap<number, Lift>;
  /** transformers whose vector group is not recorded: reckoned as if each phase fed the one with its label */
  readonly assumedInLine: readonly string[];
  readonly snapshots: readonly { readonly id: string; readonly weight: number }[];
  readonly loads: readonly PlacedLoad[];
  readonly rule: BetweenPhases;
}

/**
 * The feeder with its loads, checked. A label below a transformer is that of the winding it hangs on; what it draws above follows from
 * the vector group, whose high-voltage side is taken to be above.
 * @throws RangeError with every problem found, one a line: what is wrong, where, and what would be right
 */
export function makeLoading(document: LoadingDocument): Loading {
  const { loads, ...rest } = document;
  const feeder = makeFeeder(rest);
  const snapshots = (document.snapshots ?? [{ id: 'all' }]).map((s) => ({ id: s.id, weight: s.weight ?? 1 }));
  const lifts = liftsOf(feeder, document);
  const problems = [...checkLoading(document, feeder, snapshots.length), ...liftProblems(feeder, lifts)];
  if (problems.length > 0) throw new RangeError(`loads of feeder ${document.id}:\n${problems.join('\n')}`);
  const volts = voltsOf(document, feeder);
  return Object.freeze({
    document,
    feeder,
    volts,
    lifts,
    assumedInLine: (document.transformers ?? []).filter((t) => t.vectorGroup === UNKNOWN).map((t) => t.id),
    snapshots,
    loads: loads.map((entry) => placed(entry, feeder, volts[feeder.indexOf.get(entry.section)!]!, snapshots.length)),
    rule: document.betweenPhases ?? 'as-drawn',
  });
}

function voltsOf({ voltageV, voltageBelowV = {} }: LoadingDocument, feeder: Feeder): Float64Array {
  const volts = new Float64Array(feeder.count).fill(voltageV);
  for (let v = 1; v < feeder.count; v++) volts[v] = voltageBelowV[feeder.ids[v]!] ?? volts[feeder.parent[v]!]!;
  return volts;
}

function placed(entry: LoadEntry, feeder: Feeder, voltageV: number, count: number): PlacedLoad {
  const series = (s: Series | undefined): number[] =>
    Array.from({ length: count }, (_, t) => (typeof s === 'object' ? s[t]! : (s ?? 0)));
  const toNeutral = entry.toNeutral === true;
  const phases = entry.phases.map((p) => feeder.phases.indexOf(p));
  const base = { entry, section: feeder.indexOf.get(entry.section)!, phases, toNeutral };
  if (entry.amperes === undefined) return { ...base, kW: series(entry.kW), kvar: series(entry.kvar) };
  const pf = entry.powerFactor ?? 1;
  const kVA = series(entry.amperes).map((a) => (a * voltsAcross(phases.length, toNeutral, voltageV)) / 1000);
  const sin = Math.sign(pf) * Math.sqrt(1 - pf * pf);
  return { ...base, kW: kVA.map((s) => s * Math.abs(pf)), kvar: kVA.map((s) => s * sin) };
}

/** kVA per ampere: V for one phase (or one not known), sqrt 3 V between two, n V for n to neutral. */
const voltsAcross = (phases: number, toNeutral: boolean, voltageV: number): number =>
  voltageV * (phases === 2 && !toNeutral ? Math.sqrt(3) : Math.max(1, phases));
