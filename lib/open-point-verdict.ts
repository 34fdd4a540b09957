/** The rule of the comparison: what is proven about the two sides of an open point. */
import { circularMean, difference } from './angle';
import { Z_ONE_IN_1000 } from './likelihood';
import type { Grounds, Sides } from './open-point-grounds';
import { type Landing, landings, pairsAgree } from './open-point-landings';
import { type CompareOptions, DEFAULT_TOLERANCE_DEG } from './open-point-options';
import type { Comparison, Reason } from './records';

export interface Decision {
  readonly verdict: Comparison['verdict'];
  readonly landing: Comparison['landing'];
  /** the landing, when it is proven */
  readonly named: Landing | undefined;
  readonly probability: number;
  /** mean of left minus right over the facing pairs, degrees; null when the pairs do not agree */
  readonly standingAngleDeg: number | null;
  /** bound on its size, degrees */
  readonly standingAngleUpperDeg: number | null;
  /** figures may be stated with their uncertainty; false when a common time is unproven or a doubt forbids any verdict */
  readonly bounded: boolean;
  readonly reasons: readonly Reason[];
}

/** Probability a landing must have. A frame may ask for more, never for less. */
export const LANDING_PROBABILITY = 0.999;

export function decide(g: Grounds, options: CompareOptions): Decision {
  if (!g.sides) return { ...UNDECIDED, reasons: g.doubts };
  const ranked = landings(g.sides, options.frame.grossErrorRate);
  const best = ranked[0]!;
  const standing = standingAngle(g.sides);
  const proven = best.fits && best.probability >= Math.max(LANDING_PROBABILITY, options.frame.accept.confirmed);
  const figures = { probability: best.probability, ...angles(standing), bounded: true };
  const held = holds(best, proven, standing, g, options);
  if (held.verdict === 'not-proven') {
    if (g.doubts.length > 0 || g.proof.proof === null) return { ...UNDECIDED, reasons: held.reasons };
    return { ...figures, verdict: 'not-proven', landing: null, named: undefined, reasons: held.reasons };
  }
  return {
    ...figures,
    verdict: held.verdict,
    landing: proven ? best.landing : null,
    named: proven ? best : undefined,
    reasons: held.reasons,
  };
}

/** Without a common time every bound would take the clocks at their word: a roll would stand there as 2 +/- 1 degrees. */
const UNDECIDED = Object.freeze({
  verdict: 'not-proven' as const,
  landing: null,
  named: undefined,
  probability: 0,
  standingAngleDeg: null,
  standingAngleUpperDeg: null,
  bounded: false,
});

interface Standing {
  readonly agree: boolean;
  readonly meanDeg: number;
  /** standard uncertainty of the mean: both clocks, and the readings over the pairs */
  readonly sdDeg: number;
}

/** U = sqrt(clocks^2 + sum over pairs of (sL^2 + sR^2) / K^2), the readings' own uncertainties only. */
function standingAngle(sides: Sides): Standing {
  const pairs = sides.leftDeg.map((l, k) => difference(l, sides.rightDeg[k]!));
  const sds = pairs.map((_, k) => Math.hypot(sides.leftSdDeg[k]!, sides.rightSdDeg[k]!));
  const own = Math.hypot(...[...sides.left, ...sides.right].map((a) => a.sdDeg)) / pairs.length;
  return { agree: pairsAgree(pairs, sds), meanDeg: circularMean(pairs), sdDeg: Math.hypot(sides.clocksSdDeg, own) };
}

const upper = (s: Standing): number => Math.min(180, Math.abs(s.meanDeg) + Z_ONE_IN_1000 * s.sdDeg);

const angles = (s: Standing) =>
  s.agree
    ? { standingAngleDeg: s.meanDeg, standingAngleUpperDeg: upper(s) }
    : { standingAngleDeg: null, standingAngleUpperDeg: null };

interface Held {
  readonly verdict: Comparison['verdict'];
  readonly reasons: readonly Reason[];
}

function holds(best: Landing, proven: boolean, standing: Standing, g: Grounds, options: CompareOptions): Held {
  const toleranceDeg = options.toleranceDeg ?? DEFAULT_TOLERANCE_DEG;
  if (g.doubts.length > 0) return { verdict: 'not-proven', reasons: g.doubts };
  if (proven && best.landing !== 'straight')
    return { verdict: 'not-the-same-phase', reasons: [otherLanding(best, g.sides!)] };
  if (standing.agree && Math.abs(standing.meanDeg) - Z_ONE_IN_1000 * standing.sdDeg > toleranceDeg) {
    return { verdict: 'not-the-same-phase', reasons: [overTolerance(standing, toleranceDeg)] };
  }
  const reasons = [
    ...(proven ? [] : [landingUnproven(best, standing)]),
    ...(standing.agree && upper(standing) > toleranceDeg ? [standingUnproven(standing, toleranceDeg)] : []),
    ...g.missing,
  ];
  return reasons.length > 0 ? { verdict: 'not-proven', reasons } : { verdict: 'same-phase', reasons: [] };
}

function otherLanding(best: Landing, { left, right }: Sides): Reason {
  const told = best.partners
    .map((r, k) => ({ from: left[k]!.terminal, to: right[r]?.terminal, faces: right[k]!.terminal }))
    .filter((p) => p.to !== p.faces)
    .map((p) => `${p.from} faces ${p.faces} and belongs with ${p.to ?? 'none of those read'}`);
  const code = best.landing === null ? 'other-phase' : `landing-${best.landing}`;
  return { code, why: told.join('; ') };
}

function overTolerance(s: Standing, toleranceDeg: number): Reason {
  const why = `the pairs stand ${Math.abs(s.meanDeg).toFixed(1)} +/- ${(Z_ONE_IN_1000 * s.sdDeg).toFixed(1)} degrees apart, ${toleranceDeg} are allowed`;
  return {
    code: 'standing-angle-over-tolerance',
    why,
    settle: 'check the vector groups and the loading of both sides',
  };
}

function landingUnproven(best: Landing, standing: Standing): Reason {
  const why = best.fits
    ? `the most probable landing has a probability of ${(100 * best.probability).toFixed(1)} %`
    : 'the pairs do not stand to each other as any landing would have them';
  const settle = standing.agree
    ? 'read all pairs again, several times'
    : 'read all pairs again, and the sequence of each side by itself';
  return { code: 'landing-unproven', why, settle };
}

function standingUnproven(s: Standing, toleranceDeg: number): Reason {
  const why = `the standing angle is ${Math.abs(s.meanDeg).toFixed(1)} +/- ${(Z_ONE_IN_1000 * s.sdDeg).toFixed(1)} degrees, which does not stay within ${toleranceDeg}`;
  return { code: 'standing-angle-unproven', why, settle: 'take several readings at each terminal, with better clocks' };
}
