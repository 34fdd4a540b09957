/** What was measured at one site of a feeder, as a likelihood of the section's permutation. */
import { flooredNormal } from '../likelihood';
import { ROLL, SWAP } from './kernel';
import { image, STATES } from './permutation';

/** Number of places of the 30 degree grid on which every expected angle falls. */
export const SHIFTS = 12;
/** No evidence is ever absolute. */
export const LEAST_LIKELIHOOD = 1e-9;

export interface SiteEvidence {
  /** index of the section */
  readonly section: number;
  /** ids of the records it rests on */
  readonly from: readonly string[];
  /** conductors whose own angle was read, bit j for conductor j; left out: none, as with a rotation or meter voltages */
  readonly read?: number;
  /** for each permutation s; where transformers turn the angle, for each s and each shift of 30 degrees: [s * 12 + shift] */
  readonly likelihood: Float64Array;
  /** share of the likelihood that rests on sound readings with right tags, and on sound readings with wrong tags; same layout */
  readonly sound?: Float64Array;
  readonly tag?: Float64Array;
}

export interface ConductorEvidence {
  /** which recorded conductor was touched: 0, 1, 2 */
  readonly conductor: number;
  /** likelihood that its angle stands at 30 degrees x slot from the source's first phase, 12 numbers; 1: as likely as an angle that says nothing */
  readonly slots: Float64Array;
}

/**
 * The likelihood of each of the twelve slots under a measured angle, beside that of an angle drawn from all round.
 * @param angleDeg measured, lead positive, against the source's first phase at the same instant
 * @param sdDeg everything that may turn it, degrees
 * @example slotLikelihood(-118, 5, 0.005).indexOf(Math.max(...slotLikelihood(-118, 5, 0.005))) // 8
 */
export function slotLikelihood(angleDeg: number, sdDeg: number, grossErrorRate: number): Float64Array {
  return Float64Array.from({ length: SHIFTS }, (_, k) => 360 * flooredNormal(angleDeg - 30 * k, sdDeg, grossErrorRate));
}

export interface FaultRates {
  /** probability that the terminals of a site are tagged in another order than the record says, while the conductors are right */
  readonly tagError: number;
  /** probability that a whole site's readings say nothing */
  readonly siteFault: number;
}

/** Common practice, no source. */
export const FAULT_RATES: FaultRates = { tagError: 0.01, siteFault: 0.003 };

/** Slot in which phase i of the source stands: A 0, B 8 (-120 degrees), C 4 (+120 degrees). */
const PHASE_SLOT = [0, 8, 4] as const;

/** Slot in which a recorded conductor stands: on the phase where the permutation puts it, turned by a shift of 30 degrees a step. */
export const slotOn = (s: number, conductor: number, shift: number): number =>
  (PHASE_SLOT[image(s, conductor)]! + shift) % SHIFTS;

/**
 * Readings of the conductors of one site, taken together; what one site's faults would do is mixed in.
 * @param turned true where transformers stand between source and site: the likelihood then has 72 numbers, else 6
 */
export function siteEvidence(
  section: number,
  from: readonly string[],
  conductors: readonly ConductorEvidence[],
  rates: FaultRates = FAULT_RATES,
  turned = false,
): SiteEvidence {
  const shifts = turned ? SHIFTS : 1;
  const clean = new Float64Array(STATES * shifts).fill(1);
  for (const { conductor, slots } of conductors) {
    for (let s = 0; s < STATES; s++) {
      for (let h = 0; h < shifts; h++) clean[s * shifts + h]! *= slots[slotOn(s, conductor, h)]!;
    }
  }
  const read = conductors.reduce((mask, { conductor }) => mask | (1 << conductor), 0);
  return { section, from, read, ...withFaults(clean, rates) };
}

/**
 * Mixes in tag error and site fault.
 * @param clean likelihood if neither is there; 1: as likely as if the site says nothing
 */
export function withFaults(
  clean: Float64Array,
  { tagError: q, siteFault: f }: FaultRates = FAULT_RATES,
): { likelihood: Float64Array; sound: Float64Array; tag: Float64Array } {
  const shifts = clean.length / STATES;
  const likelihood = new Float64Array(clean.length);
  const sound = new Float64Array(clean.length);
  const tag = new Float64Array(clean.length);
  for (let h = 0; h < shifts; h++) {
    const L = (s: number) => clean[s * shifts + h]!;
    const even = L(0) + L(1) + L(2);
    const odd = L(3) + L(4) + L(5);
    for (let s = 0; s < STATES; s++) {
      const i = s * shifts + h;
      const [same, other] = s < 3 ? [even, odd] : [odd, even];
      const right = (1 - f) * (1 - q) * L(s);
      const wrong = (1 - f) * q * (ROLL * (same - L(s)) + SWAP * other);
      const all = Math.max(right + wrong + f, LEAST_LIKELIHOOD);
      likelihood[i] = all;
      sound[i] = right / all;
      tag[i] = wrong / all;
    }
  }
  return { likelihood, sound, tag };
}

/** The likelihood of a permutation at a shift, whichever form the evidence has. */
export const likelihoodAt = (e: SiteEvidence, s: number, shift: number): number => e.likelihood[stateAt(e, s, shift)]!;

/** Place of a permutation at a shift in the arrays of a piece of evidence. */
export const stateAt = (e: SiteEvidence, s: number, shift: number): number =>
  e.likelihood.length === STATES ? s : s * SHIFTS + shift;
