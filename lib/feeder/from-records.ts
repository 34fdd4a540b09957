/** Evidence from the records of this pack: identifications at terminals of the feeder, comparisons across its open ties. */
import { circularMean } from '../angle';
import { compareInstants } from '../instant';
import type { Comparison, Identification } from '../records';
import {
  type ConductorEvidence,
  FAULT_RATES,
  type FaultRates,
  type SiteEvidence,
  siteEvidence,
  slotLikelihood,
} from './evidence';
import type { Feeder, PlacedTerminal } from './model';
import { type PairFactor, pairFactor } from './pair-factor';
import { upstreamTurnDeg } from './upstream';

export interface FromRecords {
  readonly rates?: FaultRates;
  /** the frame's probability of a reading that is simply wrong */
  readonly grossErrorRate?: number;
  /** which of the feeder's phases the identifications' angles count from: 0, 1, 2 */
  readonly zeroPhase?: number;
  /** vector groups passed from the reference of an identification to its terminal; left out or undefined: none above the feeder's source */
  readonly pathOf?: (i: Identification) => readonly string[] | undefined;
}

/** What leaves an angle usable as evidence, though it alone decides nothing. */
const STILL_EVIDENCE: ReadonlySet<string> = new Set([
  'ambiguous',
  'vector-group-unknown',
  'fits-no-phase',
  'sequence-unproven',
  'connection-unproven',
]);

/**
 * An identification counts when it is proven, or not proven only because one angle alone could not decide. A voltage between two
 * phases does not count: it says nothing of one conductor.
 */
export const isEvidence = (i: Identification): boolean =>
  i.angleDeg !== null &&
  i.sdDeg !== null &&
  !i.connection?.startsWith('phase-phase') &&
  (i.verdict !== 'not-proven' || (i.reasons.length > 0 && i.reasons.every((r) => STILL_EVIDENCE.has(r.code))));

/**
 * The evidence of the newest identifications, one piece for each site of a section. Those of terminals that are not of the feeder,
 * and those whose angle cannot be used, are passed over.
 */
export function evidenceFrom(
  feeder: Feeder,
  identifications: Iterable<Identification>,
  { rates = FAULT_RATES, grossErrorRate = 0.005, zeroPhase = 0, pathOf }: FromRecords = {},
): SiteEvidence[] {
  const sites = new Map<string, { section: number; from: string[]; conductors: ConductorEvidence[] }>();
  for (const i of newestOfTerminal(identifications).values()) {
    const place = feeder.terminals.get(i.terminal);
    if (!place || !isEvidence(i)) continue;
    const upstream = upstreamTurnDeg(feeder, place.section, pathOf?.(i) ?? []);
    if (upstream === undefined) continue;
    const key = `${place.section} ${place.site}`;
    const site = sites.get(key) ?? { section: place.section, from: [], conductors: [] };
    site.from.push(i.id);
    const turn = -120 * zeroPhase + oppositeDeg(place, i) + upstream;
    site.conductors.push({
      conductor: place.conductor,
      slots: slotLikelihood(i.angleDeg! + turn, i.sdDeg!, grossErrorRate),
    });
    sites.set(key, site);
  }
  const turned = feeder.windings.size > 0;
  return [...sites.values()].map((s) => siteEvidence(s.section, s.from, s.conductors, rates, turned));
}

/** The second half of a centre tap, and a reversed connection, stand opposite to the conductor's own phase. */
const oppositeDeg = (place: PlacedTerminal, i: Identification): number =>
  place.reversed || i.connection === 'phase-neutral-reversed' ? 180 : 0;

function newestOfTerminal(identifications: Iterable<Identification>): Map<string, Identification> {
  const newest = new Map<string, Identification>();
  for (const i of identifications) {
    const known = newest.get(i.terminal);
    if (!known || compareInstants(known.at, i.at) <= 0) newest.set(i.terminal, i);
  }
  return newest;
}

/**
 * A decided comparison across an open tie as a statement on the two sections it joins; undefined when it is not proven or its
 * terminals are not all of this feeder.
 */
export function tieFrom(feeder: Feeder, comparison: Comparison): PairFactor | undefined {
  if (comparison.verdict === 'not-proven' || comparison.belongs.length === 0) return undefined;
  const pairs = comparison.belongs.map((b) => [feeder.terminals.get(b.left), feeder.terminals.get(b.right)] as const);
  // The second half of a centre tap stands opposite: held against a first half it would look like another phase.
  if (pairs.some(([l, r]) => !l || !r || l.reversed !== r.reversed)) return undefined;
  const [left, right] = pairs[0] as readonly [PlacedTerminal, PlacedTerminal];
  const one = pairs.every(([l, r]) => l!.section === left.section && r!.section === right.section);
  if (!one || left.section === right.section) return undefined;
  const doubt = Math.max(1 - comparison.probability, LEAST_DOUBT);
  return pairFactor(comparison.openPoint, left.section, right.section, {
    pairs: pairs.map(([l, r]) => [l!.conductor, r!.conductor]),
    ahead: stepsAhead(comparison),
    fits: 1 - doubt,
    else: doubt,
  });
}

/**
 * Steps of 30 degrees by which the left side stands ahead, -2 to 2: whichever conductors face each other, their angles differ by this and by
 * multiples of 120 degrees.
 */
function stepsAhead({ pairs }: Comparison): number {
  const deg = circularMean(pairs.map((p) => 3 * p.differenceDeg)) / 3;
  return Number.isNaN(deg) ? 0 : Math.round(deg / 30);
}

/** A comparison rests on tags too: it is never surer than a site's own faults allow. */
const LEAST_DOUBT = 0.01;
