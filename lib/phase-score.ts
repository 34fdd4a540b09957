/** The numeric core of identification: posterior over classes for one mean angle. No allocation. */
import { LEAST_GROSS_RATE } from './likelihood';
import type { PhaseClasses } from './phase-classes';

const SQRT_2PI = Math.sqrt(2 * Math.PI);
/** exp of less is below 1e-43: nothing beside any gross error rate */
const NEGLIGIBLE = -100;

/**
 * Posterior of each class: prior * ((1 - gross) WN(angle - expected; sd) + gross / 360), made to sum to one.
 * One turn of the wrapped normal is enough up to 25 degrees of sd; the decision refuses from 15 on.
 * @param angleDeg mean direction of the readings of one conductor, zero phase at zero, in [-180, 180)
 * @param posterior receives one probability per class
 * @param weights one factor per class, such as the weight of a measured voltage; left out: 1
 * @returns index of the most probable class
 */
export function scorePhase(
  classes: PhaseClasses,
  angleDeg: number,
  sdDeg: number,
  grossErrorRate: number,
  posterior: Float64Array,
  weights?: Float64Array,
): number {
  const { count, expectedDeg, prior } = classes;
  const gross = Math.max(grossErrorRate, LEAST_GROSS_RATE);
  const crest = (1 - gross) / (sdDeg * SQRT_2PI);
  const floor = gross / 360;
  const q = -1 / (2 * sdDeg * sdDeg);
  let total = 0;
  let best = 0;
  let most = -1;
  for (let c = 0; c < count; c++) {
    let x = angleDeg - expectedDeg[c]!;
    if (x >= 180) x -= 360;
    else if (x < -180) x += 360;
    const exponent = x * x * q;
    let p = prior[c]! * (exponent > NEGLIGIBLE ? floor + crest * Math.exp(exponent) : floor);
    if (weights !== undefined) p *= weights[c]!;
    posterior[c] = p;
    total += p;
    if (p > most) {
      most = p;
      best = c;
    }
  }
  for (let c = 0; c < count; c++) posterior[c]! /= total;
  return best;
}

/** Probability of each phase: the posterior of its classes that suppose no reversed winding, summed. */
export function phaseMarginals(classes: PhaseClasses, posterior: Float64Array, marginals: Float64Array): void {
  marginals.fill(0);
  for (let c = 0; c < classes.count; c++) {
    if (classes.mirrored[c] === 0) marginals[classes.phase[c]!]! += posterior[c]!;
  }
}
