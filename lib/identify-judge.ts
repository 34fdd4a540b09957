/** The reject rule: when a posterior is enough to name a phase, and what would settle it when it is not. */
import { difference } from './angle';
import type { Frame } from './frame';
import {
  CONNECTION_UNPROVEN,
  fitsNothing,
  SEQUENCE_UNPROVEN,
  tooUncertain,
  unknownPath as unknownPathReason,
} from './identify-reasons';
import { type PhaseClasses, sdLimitDeg } from './phase-classes';
import { phaseMarginals, scorePhase } from './phase-score';
import type { Identification, Reason } from './records';

export interface Judgement {
  readonly verdict: Identification['verdict'];
  /** index of the phase into the frame's phases */
  readonly phase: number;
  /** index of the most probable class */
  readonly best: number;
  /** of the phase when it is named, else of the best class */
  readonly probability: number;
  readonly connectionProven: boolean;
  readonly posterior: Float64Array;
  readonly reasons: readonly Reason[];
}

/** An angle further than this from the expectation of the best class belongs to no class. */
export const GATE_SD = 4;

/**
 * Reject option after C. K. Chow, 1970 (from memory), with a gate and a limit on the uncertainty:
 * the phase is named when its marginal reaches the frame's `identified`, the angle lies within 4 sd of the best class,
 * and sd is within 15 degrees (one connection), 10 (polarity in doubt, or voltage known) or 5 (everything in doubt).
 */
export function judge(
  classes: PhaseClasses,
  angleDeg: number,
  sdDeg: number,
  frame: Frame,
  weights: Float64Array | undefined,
  against: readonly Reason[],
): Judgement {
  if (!classes.pathKnown) return unknownPath(classes, angleDeg, against);
  const posterior = new Float64Array(classes.count);
  const best = scorePhase(classes, angleDeg, sdDeg, frame.grossErrorRate, posterior, weights);
  const marginals = new Float64Array(3);
  phaseMarginals(classes, posterior, marginals);
  const phase = classes.phase[best]!;
  const probability = marginals[phase]!;
  const reasons = [...against, ...objections(classes, best, angleDeg, sdDeg, weights !== undefined)];
  const misfit = reasons.some((r) => r.code === 'fits-no-phase');
  if (probability < frame.accept.identified && !misfit) reasons.push(ambiguous(classes, posterior, frame));
  if (reasons.length > 0 || probability < frame.accept.identified) {
    return {
      verdict: 'not-proven',
      phase,
      best,
      probability: posterior[best]!,
      connectionProven: false,
      posterior,
      reasons,
    };
  }
  const connectionProven = posterior[best]! >= frame.accept.identified;
  const verdict = probability >= frame.accept.confirmed ? 'confirmed' : 'identified';
  const doubts = connectionProven ? [] : [CONNECTION_UNPROVEN];
  return { verdict, phase, best, probability, connectionProven, posterior, reasons: doubts };
}

function unknownPath(classes: PhaseClasses, angleDeg: number, against: readonly Reason[]): Judgement {
  const best = classes.prior.indexOf(Math.max(...classes.prior));
  return {
    verdict: 'not-proven',
    phase: classes.phase[best]!,
    best,
    probability: classes.prior[best]!,
    connectionProven: false,
    posterior: classes.prior.slice(),
    reasons: [...against, unknownPathReason(angleDeg)],
  };
}

function objections(
  classes: PhaseClasses,
  best: number,
  angleDeg: number,
  sdDeg: number,
  magnitudeUsed: boolean,
): Reason[] {
  const reasons: Reason[] = [];
  const limitDeg = sdLimitDeg(classes.spacingDeg, magnitudeUsed);
  const residualDeg = difference(angleDeg, classes.expectedDeg[best]!);
  // The rounding of a sum of squares must not refuse what stands exactly on the limit.
  if (sdDeg > limitDeg * (1 + 1e-12)) reasons.push(tooUncertain(sdDeg, limitDeg));
  if (Math.abs(residualDeg) > GATE_SD * sdDeg) reasons.push(fitsNothing(angleDeg, residualDeg, sdDeg));
  if (classes.mirrored[best] === 1) reasons.push(SEQUENCE_UNPROVEN);
  return reasons;
}

function ambiguous(classes: PhaseClasses, posterior: Float64Array, frame: Frame): Reason {
  const order = Array.from(posterior.keys()).sort((a, b) => posterior[b]! - posterior[a]!);
  const first = order[0]!;
  const second = order.find((c) => classes.phase[c] !== classes.phase[first]) ?? order[1]!;
  const told = [first, second].map(
    (c) => `${frame.phases[classes.phase[c]!]} ${classes.connection[c]} (${(100 * posterior[c]!).toFixed(1)} %)`,
  );
  const sameConnection = classes.connection[first] === classes.connection[second];
  return {
    code: 'ambiguous',
    why: `between ${told.join(' and ')}`,
    settle: sameConnection
      ? 'read again, or read the other conductors of the site with it'
      : 'record the connection, read the voltage in contact, or read the other conductors of the site with it',
  };
}
