/** What speaks against the most probable arrangement of a site. */
import { circularMean, difference } from './angle';
import { siteTurned, tooUncertain, unknownPath } from './identify-reasons';
import { sdLimitDeg } from './phase-classes';
import type { Reason } from './records';
import type { Consistency } from './site-consistency';
import type { SiteHypotheses, SiteHypothesis } from './site-hypotheses';
import { ARRANGEMENTS } from './site-score';

/** An error common to a site that may be larger than this can be another phase, degrees. */
const COMMON_LIMIT_DEG = 10;
/** Own standard uncertainty up to which the conductors of a site still sort themselves, degrees, by their number. */
const OWN_LIMIT_DEG = [0, 0, 15, 20] as const;
/** An error common to the site beyond this many of its standard uncertainties was not reckoned with. */
const COMMON_GATE_SD = 4;

export interface SiteGrounds {
  readonly angleDeg: readonly number[];
  readonly sdDeg: readonly number[];
  readonly commonSdDeg: number;
  readonly hypotheses: SiteHypotheses;
  readonly hypothesis: SiteHypothesis;
  readonly a: number;
  readonly consistency: Consistency;
  readonly magnitudeUsed: boolean;
}

export function siteObjections(g: SiteGrounds): Reason[] {
  if (!g.consistency.consistent) return [...g.consistency.reasons];
  const weights = g.sdDeg.map((s) => 1 / s ** 2);
  const residuals = g.angleDeg.map((d, k) => difference(d, g.hypothesis.expectedDeg[3 * k + ARRANGEMENTS[g.a]![k]!]!));
  const turnedDeg = circularMean(residuals, weights);
  if (!g.hypotheses.pathKnown) return [unknownPath(g.angleDeg[0]!)];
  const meanSdDeg = Math.hypot(g.commonSdDeg, Math.sqrt(1 / weights.reduce((a, b) => a + b, 0)));
  const limitDeg = sdLimitDeg(g.hypotheses.spacingDeg, g.magnitudeUsed);
  const ownLimitDeg = OWN_LIMIT_DEG[g.angleDeg.length]!;
  const reasons: Reason[] = [];
  // The rounding of a sum of squares must not refuse what stands exactly on a limit.
  const over = (sd: number, limit: number) => sd > limit * (1 + 1e-12);
  if (over(meanSdDeg, limitDeg)) reasons.push(tooUncertain(meanSdDeg, limitDeg));
  else if (over(g.commonSdDeg, COMMON_LIMIT_DEG)) reasons.push(tooUncertain(g.commonSdDeg, COMMON_LIMIT_DEG));
  else if (over(Math.max(...g.sdDeg), ownLimitDeg)) reasons.push(tooUncertain(Math.max(...g.sdDeg), ownLimitDeg));
  if (Math.abs(turnedDeg) > COMMON_GATE_SD * meanSdDeg) reasons.push(siteTurned(turnedDeg, meanSdDeg));
  return reasons;
}
