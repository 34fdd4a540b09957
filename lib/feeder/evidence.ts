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
  /** for each permutation s; where transformers turn the angle, for each s and each shift of 30 degrees: [s * 12 + shift] */
  readonly likelihood: Float64Array;
}

export interface ConductorEvidence {
  /** which recorded conductor was touched: 0, 1, 2 */
  readonly conductor: number;
  /** likelihood that its angle stands at 30 degrees x slot from the source's first phase, 12 numbers, any scale */
  readonly slots: Float64Array;
}

/**
 * The likelihood of each of the twelve slots under a measured angle.
 * @param angleDeg measured, lead positive, against the source's first phase at the same instant
 * @param sdDeg everything that may turn it, degrees
 * @example slotLikelihood(-118, 5, 0.005).indexOf(Math.max(...slotLikelihood(-118, 5, 0.005))) // 8
 */
export function slotLikelihood(angleDeg: number, sdDeg: number, grossErrorRate: number): Float64Array {
  return Float64Array.from({ length: SHIFTS }, (_, k) => flooredNormal(angleDeg - 30 * k, sdDeg, grossErrorRate));
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

/**
 * Readings of the conductors of one site, taken together; what one site's faults would do is mixed in.
 * @param turned true where transformers stand between source and site: the result then has 72 numbers, else 6
 */
export function siteLikelihood(
  conductors: readonly ConductorEvidence[],
  rates: FaultRates = FAULT_RATES,
  turned = false,
): Float64Array {
  const shifts = turned ? SHIFTS : 1;
  const out = new Float64Array(STATES * shifts).fill(1);
  for (const { conductor, slots } of conductors) {
    for (let s = 0; s < STATES; s++) {
      const slot = PHASE_SLOT[image(s, conductor)]!;
      for (let h = 0; h < shifts; h++) out[s * shifts + h]! *= slots[(slot + h) % SHIFTS]!;
    }
  }
  return withFaults(out, rates);
}

/** Mixes in tag error and site fault and floors the result; scaled to a mean of one. */
export function withFaults(likelihood: Float64Array, rates: FaultRates = FAULT_RATES): Float64Array {
  const shifts = likelihood.length / STATES;
  const total = likelihood.reduce((a, b) => a + b, 0);
  const out = likelihood.map((x) => (x * likelihood.length) / total);
  const { tagError: q, siteFault: f } = rates;
  for (let h = 0; h < shifts; h++) {
    const L = (s: number) => out[s * shifts + h]!;
    const even = L(0) + L(1) + L(2);
    const odd = L(3) + L(4) + L(5);
    for (let s = 0; s < STATES; s++) {
      const [same, other] = s < 3 ? [even, odd] : [odd, even];
      const mixed = (1 - q) * L(s) + q * (ROLL * (same - L(s)) + SWAP * other);
      pending[s] = Math.max((1 - f) * mixed + f, LEAST_LIKELIHOOD);
    }
    for (let s = 0; s < STATES; s++) out[s * shifts + h] = pending[s]!;
  }
  return out;
}
const pending = new Float64Array(STATES);

/** The likelihood of a permutation at a shift, whichever form the evidence has. */
export const likelihoodAt = (e: SiteEvidence, s: number, shift: number): number =>
  e.likelihood.length === STATES ? e.likelihood[s]! : e.likelihood[s * SHIFTS + shift]!;
