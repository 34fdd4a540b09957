/** The readings of one conductor taken together: one direction, and two kinds of doubt that must not be mixed. */
import { circularMean, difference, wrap180 } from './angle';
import { MIXED, NO_ANGLE, NOT_ALIGNED, readingsDisagree, referenceUnknown } from './conductor-reasons';
import { type FitnessSettings, fitnessIn } from './fitness';
import type { Uses } from './fitness-flaw';
import type { Frame, Reference } from './frame';
import type { Terminal } from './network';
import { referenceAngleDeg } from './phase-classes';
import type { Reading, Reason } from './records';
import { type AngleSample, angleSample, readingOf, type Sample } from './sample';
import { angleErrorDeg } from './timing';

export interface ConductorAngle {
  /** mean direction, the zero phase reading zero, lead positive, degrees in [-180, 180) */
  readonly angleDeg: number;
  /** standard uncertainty of the mean from the readings' own errors, degrees: falls with their number */
  readonly readingSdDeg: number;
  /** standard uncertainty that all readings of the visit share (clock, offset, load flow), degrees: never falls */
  readonly commonSdDeg: number;
  readonly reference: string;
  readonly readings: readonly Reading[];
  /** readings of the reference that were used */
  readonly referenceFrom: readonly string[];
  /** readings that were left out, and what else to know */
  readonly reservations: readonly Reason[];
}

export type ConductorAngleResult =
  | { readonly ok: true; readonly conductor: ConductorAngle }
  | { readonly ok: false; readonly reasons: readonly Reason[] };

export interface ConductorContext extends Omit<FitnessSettings, 'frame'> {
  /** stands in for the frame's reference of the same id */
  readonly reference?: Reference | undefined;
}

/** Two sound readings of one conductor differ by more than this many standard uncertainties once in 16,000. */
const SPREAD_LIMIT_SD = 4;

/**
 * Combines the readings of one conductor.
 * Weights 1/sd^2; sd of the mean sqrt(1 / sum 1/sd^2); the clock, offset and load-flow parts stay apart.
 * @param use what the angle is wanted for: readings unfit for it are left out and named
 * @param terminal the record of the conductor's terminal
 */
export function conductorAngle(
  samples: readonly Sample[],
  frame: Frame,
  context: ConductorContext,
  use: keyof Omit<Uses, 'magnitude'>,
  terminal: Terminal | undefined = context.terminal,
): ConductorAngleResult {
  const refused: Reason[] = [];
  const sound: AngleSample[] = [];
  let clockUs = 0;
  for (const sample of samples) {
    const laid = angleSample(sample, frame);
    const fit = fitnessIn(readingOf(sample), frame, context, terminal);
    const problem = laid ? againstProblem(laid, frame, context.reference) : NO_ANGLE;
    if (laid && !problem && fit.uses[use]) {
      sound.push(laid);
      clockUs = Math.max(clockUs, fit.clockErrorUs ?? 0);
    } else refused.push(...(problem ? [problem] : []), ...fit.reasons);
  }
  if (sound.length === 0) return { ok: false, reasons: distinct(refused) };
  return combine(sound, frame, context, clockUs, distinct(refused));
}

function combine(
  sound: readonly AngleSample[],
  frame: Frame,
  context: ConductorContext,
  clockUs: number,
  reservations: readonly Reason[],
): ConductorAngleResult {
  const reference = referenceOf(sound[0]!.against, frame, context.reference)!;
  if (sound.some((s) => s.against !== reference.id)) return { ok: false, reasons: [MIXED] };
  const mean = sound.length === 1 ? alone(sound[0]!, frame, reference) : averaged(sound, frame, reference);
  if ('disagree' in mean) return { ok: false, reasons: [mean.disagree] };
  const clockDeg = angleErrorDeg(clockUs, frame.nominalHz);
  const { offsetSdDeg } = reference;
  return {
    ok: true,
    conductor: Object.freeze({
      angleDeg: mean.angleDeg,
      readingSdDeg: mean.sdDeg,
      commonSdDeg: Math.sqrt(clockDeg ** 2 + mean.sharedSdDeg ** 2 + offsetSdDeg ** 2 + frame.driftSdDeg ** 2),
      reference: reference.id,
      readings: sound.map((s) => s.reading),
      referenceFrom: sound.length === 1 ? sound[0]!.from : [...new Set(sound.flatMap((s) => s.from))],
      reservations,
    }),
  };
}

interface Mean {
  readonly angleDeg: number;
  readonly sdDeg: number;
  readonly sharedSdDeg: number;
}

const alone = (s: AngleSample, frame: Frame, reference: Reference): Mean => ({
  angleDeg: framedAngle(s.angleDeg, frame, reference),
  sdDeg: s.sdDeg,
  sharedSdDeg: s.commonSdDeg,
});

function averaged(
  sound: readonly AngleSample[],
  frame: Frame,
  reference: Reference,
): Mean | { readonly disagree: Reason } {
  const weights = sound.map((s) => 1 / (s.sdDeg * s.sdDeg));
  const angles = sound.map((s) => framedAngle(s.angleDeg, frame, reference));
  const angleDeg = circularMean(angles, weights);
  const spread = Math.max(
    ...sound.map((s, i) => Math.abs(difference(angles[i]!, angleDeg)) / Math.hypot(s.sdDeg, frame.driftSdDeg)),
  );
  if (Number.isNaN(angleDeg) || spread > SPREAD_LIMIT_SD) {
    return { disagree: readingsDisagree(sound[0]!.reading.terminal, angles) };
  }
  const sdDeg = Math.sqrt(1 / weights.reduce((a, b) => a + b, 0));
  return { angleDeg, sdDeg, sharedSdDeg: Math.max(...sound.map((s) => s.commonSdDeg)) };
}

/** (Reading minus reference) as an angle of the frame: sense applied, offset taken off, the zero phase at zero. */
export function framedAngle(relativeDeg: number, frame: Frame, reference: Reference): number {
  const turned = relativeDeg - reference.offsetDeg;
  return wrap180((frame.sense === 'lag' ? -turned : turned) + referenceAngleDeg(frame, reference));
}

function referenceOf(
  against: string | undefined,
  frame: Frame,
  override: Reference | undefined,
): Reference | undefined {
  return override?.id === against ? override : frame.references.find((r) => r.id === against);
}

function againstProblem(sample: AngleSample, frame: Frame, override: Reference | undefined): Reason | undefined {
  const { against } = sample;
  if (against === undefined || referenceOf(against, frame, override)) return undefined;
  return against === 'utc' ? NOT_ALIGNED : referenceUnknown(against, frame.id);
}

/** The reasons without repeats. */
export function distinct(reasons: readonly Reason[]): readonly Reason[] {
  if (reasons.length < 2) return reasons;
  return [...new Map(reasons.map((r) => [`${r.code} ${r.why}`, r])).values()];
}
