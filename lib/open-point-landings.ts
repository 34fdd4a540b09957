/** How the conductors of the two sides of an open point may have landed on each other, and how probable each way is. */
import { circularMean, difference } from './angle';
import { jointLikelihood } from './joint-likelihood';
import { flooredNormal } from './likelihood';
import type { Comparison } from './records';

/** The angles of the two sides in facing order: left[k] faces right[k]. One to three pairs. */
export interface SidesAngles {
  readonly leftDeg: readonly number[];
  readonly rightDeg: readonly number[];
  /** standard uncertainty of each conductor's own angle, degrees */
  readonly leftSdDeg: readonly number[];
  readonly rightSdDeg: readonly number[];
  /** standard uncertainty common to all pairs, degrees: the clocks of both sides and the load flow between them */
  readonly commonSdDeg: number;
}

export interface Landing {
  readonly landing: Comparison['landing'];
  /** right conductor with the phase of each left one, or -1 when it is none of those read */
  readonly partners: readonly number[];
  readonly probability: number;
  /** every pair stands within 3.5 standard uncertainties of what the landing says, the mean taken off */
  readonly fits: boolean;
}

/** A pair further off than this many standard uncertainties contradicts the landing. */
const PAIR_GATE_SD = 3.5;

const THREE = [
  { landing: 'straight', partners: [0, 1, 2] },
  { landing: 'rolled', partners: [1, 2, 0] },
  { landing: 'rolled', partners: [2, 0, 1] },
  { landing: 'swapped', partners: [0, 2, 1] },
  { landing: 'swapped', partners: [1, 0, 2] },
  { landing: 'swapped', partners: [2, 1, 0] },
] as const;

/** Phase of each right conductor when the left ones carry phases 0 and 1. */
const TWO = [
  { landing: 'straight', right: [0, 1], partners: [0, 1] },
  { landing: 'swapped', right: [1, 0], partners: [1, 0] },
  { landing: 'rolled', right: [1, 2], partners: [-1, 0] },
  { landing: 'rolled', right: [2, 0], partners: [1, -1] },
  { landing: null, right: [0, 2], partners: [0, -1] },
  { landing: null, right: [2, 1], partners: [-1, 1] },
] as const;

const ONE = [
  { landing: 'straight', expectedDeg: 0, partners: [0] },
  { landing: null, expectedDeg: 120, partners: [-1] },
  { landing: null, expectedDeg: -120, partners: [-1] },
] as const;

interface Scored {
  readonly landing: Comparison['landing'];
  readonly partners: readonly number[];
  readonly likelihood: number;
  readonly fits: boolean;
}

/**
 * Landings, most probable first, from equal priors; the common error is integrated out.
 * @param grossErrorRate probability that a pair is simply wrong
 */
export function landings(sides: SidesAngles, grossErrorRate: number): Landing[] {
  const all = score(sides, grossErrorRate);
  const scored = sides.leftDeg.length === 2 ? merged(all) : all;
  const total = scored.reduce((sum, s) => sum + s.likelihood, 0);
  return scored
    .map(({ landing, partners, likelihood, fits }) => ({ landing, partners, fits, probability: likelihood / total }))
    .sort((a, b) => b.probability - a.probability);
}

function score(sides: SidesAngles, gross: number): Scored[] {
  if (sides.leftDeg.length === 3) return THREE.map((h) => threePairs(sides, h, gross));
  if (sides.leftDeg.length === 2) return [1, -1].flatMap((turn) => TWO.map((h) => twoPairs(sides, h, turn, gross)));
  return ONE.map((h) => {
    const residual = [difference(pairDeg(sides, 0, 0), h.expectedDeg)];
    return { ...h, ...held(residual, [pairSd(sides, 0, 0)], sides.commonSdDeg, gross) };
  });
}

const pairDeg = (s: SidesAngles, left: number, right: number): number => s.leftDeg[left]! - s.rightDeg[right]!;
const pairSd = (s: SidesAngles, left: number, right: number): number =>
  Math.hypot(s.leftSdDeg[left]!, s.rightSdDeg[right]!);

function threePairs(sides: SidesAngles, h: (typeof THREE)[number], gross: number): Scored {
  const residuals = h.partners.map((right, left) => difference(pairDeg(sides, left, right), 0));
  const sds = h.partners.map((right, left) => pairSd(sides, left, right));
  return { ...h, ...held(residuals, sds, sides.commonSdDeg, gross) };
}

/** @param turn 1 when the second left conductor lags the first by 120 degrees, -1 when it leads */
function twoPairs(sides: SidesAngles, h: (typeof TWO)[number], turn: number, gross: number): Scored {
  const phaseDeg = (phase: number) => -120 * turn * phase;
  const residuals = h.right.map((phase, k) => difference(pairDeg(sides, k, k), phaseDeg(k) - phaseDeg(phase)));
  const sds = [0, 1].map((k) => pairSd(sides, k, k));
  const { likelihood, fits } = held(residuals, sds, sides.commonSdDeg, gross);
  const left = sides.leftDeg[1]! - sides.leftDeg[0]! - phaseDeg(1);
  const leftSd = Math.hypot(sides.leftSdDeg[0]!, sides.leftSdDeg[1]!);
  const leftFits = Math.abs(difference(left, 0)) <= PAIR_GATE_SD * leftSd;
  const weighted = likelihood * flooredNormal(left, leftSd, gross);
  return { landing: h.landing, partners: h.partners, likelihood: weighted, fits: fits && leftFits };
}

function held(residuals: readonly number[], sds: readonly number[], commonSdDeg: number, gross: number) {
  return {
    likelihood: jointLikelihood(residuals, sds, residuals.length, commonSdDeg, gross),
    fits: pairsAgree(residuals, sds),
  };
}

/** Whether differences that should be alike are: each within 3.5 standard uncertainties of their mean. */
export function pairsAgree(residuals: readonly number[], sds: readonly number[]): boolean {
  const mean = circularMean(residuals);
  return !Number.isNaN(mean) && residuals.every((r, k) => Math.abs(difference(r, mean)) <= PAIR_GATE_SD * sds[k]!);
}

/** Adds up what leads to the same partners: with two pairs the sequence of the left side is summed out. */
function merged(scored: readonly Scored[]): Scored[] {
  const byPartners = new Map<string, Scored>();
  for (const s of scored) {
    const key = `${s.landing} ${s.partners.join()}`;
    const known = byPartners.get(key);
    byPartners.set(key, known ? { ...s, likelihood: s.likelihood + known.likelihood, fits: s.fits || known.fits } : s);
  }
  return [...byPartners.values()];
}
