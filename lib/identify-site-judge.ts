/** The joint posterior of a site and the reject rule over it. */
import type { ConductorAngle } from './conductor-angle';
import type { Frame } from './frame';
import type { IdentifyContext } from './identify';
import { ambiguousSite } from './identify-reasons';
import { siteObjections } from './identify-site-objections';
import { voltageWeights } from './magnitude';
import type { Terminal } from './network';
import type { Identification, Reason } from './records';
import { siteConsistency } from './site-consistency';
import { type SiteHypothesis, siteHypothesesOf } from './site-hypotheses';
import { ARRANGEMENTS, scoreSite } from './site-score';

export interface SiteJudgement {
  readonly verdict: Identification['verdict'];
  /** arrangement and hypothesis that are most probable */
  readonly arrangement: readonly number[];
  readonly hypothesis: SiteHypothesis;
  readonly connectionProven: boolean;
  readonly pathKnown: boolean;
  /** posterior[h][a] */
  readonly posterior: readonly Float64Array[];
  readonly hypotheses: readonly SiteHypothesis[];
  readonly sdDeg: readonly number[];
  readonly consistent: boolean;
  readonly reasons: readonly Reason[];
}

export function judgeSite(
  names: readonly string[],
  conductors: readonly ConductorAngle[],
  terminals: readonly (Terminal | undefined)[],
  frame: Frame,
  context: Omit<IdentifyContext, 'terminal'>,
): SiteJudgement {
  const id = conductors[0]!.reference;
  const reference = context.reference?.id === id ? context.reference : frame.references.find((r) => r.id === id);
  const hypotheses = siteHypothesesOf(frame, terminals, reference, context.sequence);
  const angleDeg = conductors.map((c) => c.angleDeg);
  const sdDeg = conductors.map((c) => Math.hypot(c.readingSdDeg, frame.unbalanceSdDeg));
  const commonSdDeg = Math.max(...conductors.map((c) => c.commonSdDeg));
  const weights = hypotheses.list.map((h) => h.prior * voltageWeight(conductors, terminals, h, hypotheses.spacingDeg));
  const posterior = jointPosterior(angleDeg, sdDeg, commonSdDeg, frame.grossErrorRate, hypotheses.list, weights);
  const { a, h } = most(posterior);
  const hypothesis = hypotheses.list[h]!;
  const consistency = siteConsistency({ terminals: names, angleDeg, sdDeg, expectedDeg: hypothesis.expectedDeg });
  const probability = sum(posterior.map((p) => p[a]!));
  const magnitudeUsed = weights.some((w, i) => w !== hypotheses.list[i]!.prior);
  const reasons = [
    ...(context.referenceReasons ?? []),
    ...siteObjections({ angleDeg, sdDeg, commonSdDeg, hypotheses, hypothesis, a, consistency, magnitudeUsed }),
    ...(probability < frame.accept.identified && consistency.consistent ? [ambiguousSite(probability)] : []),
  ];
  const verdict =
    reasons.length > 0 || probability < frame.accept.identified
      ? 'not-proven'
      : probability >= frame.accept.confirmed
        ? 'confirmed'
        : 'identified';
  const sameConnection = posterior.filter((_, i) => hypotheses.list[i]!.connections === hypothesis.connections);
  return {
    verdict,
    arrangement: ARRANGEMENTS[a]!,
    hypothesis,
    connectionProven: verdict !== 'not-proven' && sum(sameConnection.map((p) => sum(p))) >= frame.accept.identified,
    pathKnown: hypotheses.pathKnown,
    posterior,
    hypotheses: hypotheses.list,
    sdDeg: sdDeg.map((s) => Math.hypot(s, commonSdDeg)),
    consistent: consistency.consistent,
    reasons,
  };
}

const sum = (xs: Iterable<number>): number => {
  let total = 0;
  for (const x of xs) total += x;
  return total;
};

function jointPosterior(
  angleDeg: readonly number[],
  sdDeg: readonly number[],
  commonSdDeg: number,
  grossErrorRate: number,
  hypotheses: readonly SiteHypothesis[],
  weights: readonly number[],
): Float64Array[] {
  const posterior = hypotheses.map((h, i) => {
    const likelihood = new Float64Array(6);
    scoreSite(
      angleDeg,
      h.expectedDeg,
      sdDeg,
      angleDeg.length,
      commonSdDeg,
      grossErrorRate,
      weights[i]!,
      likelihood,
      h.from,
      h.to,
    );
    return likelihood;
  });
  const total = sum(posterior.map((p) => sum(p)));
  for (const p of posterior) for (let a = 0; a < 6; a++) p[a]! /= total;
  return posterior;
}

/** The most probable arrangement over all hypotheses, and its most probable hypothesis. */
function most(posterior: readonly Float64Array[]): { a: number; h: number } {
  const marginal = ARRANGEMENTS.map((_, a) => sum(posterior.map((p) => p[a]!)));
  const a = marginal.indexOf(Math.max(...marginal));
  const within = posterior.map((p) => p[a]!);
  return { a, h: within.indexOf(Math.max(...within)) };
}

function voltageWeight(
  conductors: readonly ConductorAngle[],
  terminals: readonly (Terminal | undefined)[],
  hypothesis: SiteHypothesis,
  spacingDeg: number,
): number {
  if (spacingDeg !== 30) return 1;
  return conductors.reduce((product, c, k) => {
    const weight = voltageWeights(c.readings, terminals[k], [hypothesis.connections[k]!]);
    return product * (weight?.[0] ?? 1);
  }, 1);
}
