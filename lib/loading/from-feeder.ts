/** A loading document from a feeder whose record has loads. */
import { type FeederDocument, makeFeeder } from '../feeder/model';
import type { LateralEntry, LoadEntry, LoadingDocument } from './model';

export interface FromFeeder {
  /** nominal voltage phase to neutral, volts */
  readonly voltageV: number;
  /**
   * laterals: every section with one or two phases that hangs on one with three moves with all below it, and single-phase loads on
   * three-phase sections move alone. loads: only those single-phase loads. none: nothing moves.
   */
  readonly movable: 'laterals' | 'loads' | 'none';
}

/** The feeder's own loads, and what of them may move. @throws RangeError when the feeder is not sound */
export function loadingFromFeeder(document: FeederDocument, { voltageV, movable }: FromFeeder): LoadingDocument {
  const feeder = makeFeeder(document);
  const isWhole = (v: number): boolean => v === 0 || feeder.mask[v] === 7;
  const laterals: LateralEntry[] = [];
  if (movable === 'laterals') {
    for (let v = 1; v < feeder.count; v++) {
      if (!isWhole(v) && isWhole(feeder.parent[v]!)) laterals.push({ section: feeder.ids[v]! });
    }
  }
  const loads = (document.loads ?? []).map((l): LoadEntry => {
    const moves = l.phases.length === 1 && isWhole(feeder.indexOf.get(l.section) ?? 0) && movable !== 'none';
    const entry = { id: l.id, section: l.section, phases: l.phases, kW: l.kw, threePhase: l.phases.length === 3 };
    return { ...entry, ...(l.kvar === undefined ? {} : { kvar: l.kvar }), ...(moves ? { movable: true } : {}) };
  });
  return { ...document, voltageV, loads, ...(laterals.length > 0 ? { laterals } : {}) };
}
