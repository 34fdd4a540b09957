/** Evidence from rotations: whether three conductors stand in the recorded order or the reversed one, though not on which phases. */
import type { Rotation } from '../records';
import { FAULT_RATES, type FaultRates, SHIFTS, type SiteEvidence, withFaults } from './evidence';
import type { Feeder, PlacedTerminal } from './model';
import { image, STATES } from './permutation';

/** A rotation is never surer than this: it rests on the viewing order that a person stated. */
const SUREST = 0.99;

/**
 * A decided rotation of three conductors of one section; undefined when it is not proven or its terminals are not the three of one
 * section. It multiplies the three permutations of the sequence seen against the three of the other; no shift of a transformer changes that.
 */
export function rotationEvidence(
  feeder: Feeder,
  rotation: Rotation,
  rates: FaultRates = FAULT_RATES,
): SiteEvidence | undefined {
  if (rotation.verdict !== 'decided') return undefined;
  const places = rotation.terminals.map((t) => feeder.terminals.get(t));
  if (places.some((p) => p === undefined || p.reversed)) return undefined;
  const [first, second, third] = places as [PlacedTerminal, PlacedTerminal, PlacedTerminal];
  const one = first.section === second.section && second.section === third.section;
  if (!one || new Set([first.conductor, second.conductor, third.conductor]).size < 3) return undefined;
  const shifts = feeder.windings.size > 0 ? SHIFTS : 1;
  const p = Math.min(rotation.probability, SUREST);
  const clean = Float64Array.from({ length: STATES * shifts }, (_, i) => {
    const s = Math.floor(i / shifts);
    const lags = (3 + image(s, second.conductor) - image(s, first.conductor)) % 3;
    return (lags === 1 ? 'ABC' : 'ACB') === rotation.sequence ? 2 * p : 2 * (1 - p);
  });
  return { section: first.section, from: [rotation.id], ...withFaults(clean, rates) };
}
