/** Do the conductors of a site stand to each other as phases do, and if not, what would explain it? */
import { CHI2_ONE_IN_1000 } from './likelihood';
import type { Reason } from './records';
import { ARRANGEMENTS } from './site-score';

export interface SiteAngles {
  readonly terminals: readonly string[];
  readonly angleDeg: ArrayLike<number>;
  /** standard uncertainty of each conductor's own angle, what they share left out */
  readonly sdDeg: ArrayLike<number>;
  /** expectedDeg[3 * conductor + phase] */
  readonly expectedDeg: ArrayLike<number>;
}

export interface Consistency {
  /** sum of ((residual - mean) / sd)^2 for the arrangement that fits best; chi-square with one degree fewer than conductors */
  readonly statistic: number;
  readonly limit: number;
  readonly consistent: boolean;
  /** what would explain an inconsistency */
  readonly reasons: readonly Reason[];
}

/**
 * The site statistic: S = min over arrangements of sum ((residual - mean)/sd)^2, held against chi-square (13.8 for three
 * conductors, 10.8 for two), which one sound site in a thousand exceeds. An error common to all does not show in it.
 */
export function siteConsistency(site: SiteAngles): Consistency {
  const statistic = siteStatistic(site, ARRANGEMENTS);
  const limit = CHI2_ONE_IN_1000[site.terminals.length - 1]!;
  const consistent = statistic <= limit;
  return { statistic, limit, consistent, reasons: consistent ? [] : explain(site, statistic, limit) };
}

const residual = new Float64Array(3);
const weight = new Float64Array(3);

/**
 * Smallest weighted sum of squares of the residuals about their mean, over some assignments of phases.
 * @param turnedLeg a conductor whose polarity is taken as reversed, or -1
 * @param leftOut a conductor that does not count, or -1
 */
export function siteStatistic(
  site: SiteAngles,
  assignments: readonly (readonly number[])[],
  turnedLeg = -1,
  leftOut = -1,
): number {
  let least = Number.POSITIVE_INFINITY;
  for (const phases of assignments) {
    let used = 0;
    for (let k = 0; k < site.terminals.length; k++) {
      if (k === leftOut) continue;
      const x = site.angleDeg[k]! - site.expectedDeg[3 * k + phases[k]!]! - (k === turnedLeg ? 180 : 0);
      residual[used] = x;
      weight[used] = 1 / (site.sdDeg[k]! * site.sdDeg[k]!);
      used++;
    }
    least = Math.min(least, spread(used));
  }
  return least;
}

/** The residuals are counted from the first, so that they do not straddle the turn. */
function spread(count: number): number {
  const base = residual[0]!;
  let w = 0;
  let sum = 0;
  let square = 0;
  for (let i = 0; i < count; i++) {
    const x = residual[i]! - base;
    const r = x - 360 * Math.floor((x + 180) / 360);
    w += weight[i]!;
    sum += weight[i]! * r;
    square += weight[i]! * r * r;
  }
  return square - (sum * sum) / w;
}

interface Explanation {
  readonly statistic: number;
  readonly reason: Reason;
}

function explain(site: SiteAngles, statistic: number, limit: number): Reason[] {
  const fits = [...sharedPhases(site), ...reversedLegs(site)].filter((e) => e.statistic <= limit);
  if (fits.length > 0) return fits.sort((a, b) => a.statistic - b.statistic).map((e) => e.reason);
  const off = site.terminals.length === 3 ? oddOneOut(site) : [];
  return off.length > 0 ? off : [inconsistent(statistic, limit)];
}

/** Two conductors tagged differently and joined to one phase. */
function sharedPhases(site: SiteAngles): Explanation[] {
  return PAIRS.filter(([, j]) => j < site.terminals.length).map(([i, j]) => {
    const assignments = [1, 2].map((other) => [0, 1, 2].map((k) => (k === i || k === j ? 0 : other)));
    const why = `${site.terminals[i]} and ${site.terminals[j]} read the same phase`;
    const settle = 'read both again; check that two different conductors were read';
    return { statistic: siteStatistic(site, assignments), reason: told('two-on-one-phase', why, settle) };
  });
}

const PAIRS = [
  [0, 1],
  [0, 2],
  [1, 2],
] as const;

/** One conductor read with its polarity turned. */
function reversedLegs(site: SiteAngles): Explanation[] {
  return site.terminals.map((terminal, leg) => {
    const why = `${terminal} reads as if its polarity were reversed`;
    const settle = 'read it again; check the leads, or the polarity of the transformer behind it';
    return { statistic: siteStatistic(site, ARRANGEMENTS, leg), reason: told('leg-reversed', why, settle) };
  });
}

/** The one conductor without which the other two agree. */
function oddOneOut(site: SiteAngles): Reason[] {
  const [best] = site.terminals
    .map((terminal, leg) => ({ terminal, statistic: siteStatistic(site, ARRANGEMENTS, -1, leg) }))
    .filter((e) => e.statistic <= CHI2_ONE_IN_1000[1])
    .sort((a, b) => a.statistic - b.statistic);
  if (!best) return [];
  const why = `${best.terminal} stands where no phase would, seen from the other two`;
  return [told('leg-off', why, `read ${best.terminal} again`)];
}

function inconsistent(statistic: number, limit: number): Reason {
  const why = `the conductors do not stand to each other as phases do (statistic ${statistic.toFixed(1)}, limit ${limit.toFixed(1)})`;
  return told('site-inconsistent', why, 'read all conductors of the site again in one visit');
}

const told = (code: string, why: string, settle: string): Reason => ({ code, why, settle });
