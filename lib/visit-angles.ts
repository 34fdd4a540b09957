/** The angles of several conductors of one visit, comparable with each other; no reference and no absolute time needed. */
import { circularMean, difference } from './angle';
import { comparableAngles } from './comparable';
import { distinct } from './conductor-angle';
import { readingsDisagree } from './conductor-reasons';
import { type FitnessSettings, fitnessIn } from './fitness';
import type { Frame } from './frame';
import type { Terminal } from './network';
import type { Reading, Reason } from './records';
import { type AngleSample, angleSample, type ConductorReadings, readingOf } from './sample';

export interface VisitAngle {
  readonly terminal: string;
  /** only differences mean anything; lead positive, degrees */
  readonly angleDeg: number;
  /** standard uncertainty from the readings' own errors, degrees */
  readonly sdDeg: number;
  /** standard uncertainty that other conductors read at the same time share, the clock left out, degrees */
  readonly sharedSdDeg: number;
  /** largest standard clock error, microseconds; null when one is not known */
  readonly clockErrorUs: number | null;
  readonly readings: readonly Reading[];
  /** readings of a reference that were used */
  readonly referenceFrom: readonly string[];
}

export type VisitAnglesResult =
  | { readonly ok: true; readonly angles: readonly VisitAngle[] }
  | { readonly ok: false; readonly reasons: readonly Reason[] };

export interface VisitContext extends Omit<FitnessSettings, 'frame' | 'terminal'> {
  readonly terminals?: ReadonlyMap<string, Terminal> | undefined;
}

interface Laid {
  readonly sample: AngleSample;
  readonly clockErrorUs: number | null;
}

/** Readings of one conductor further apart than this many standard uncertainties contradict each other. */
const SPREAD_LIMIT_SD = 4;

/** Every conductor must have a reading whose angle may be compared; readings unfit for that are left out. */
export function visitAngles(
  conductors: readonly ConductorReadings[],
  frame: Frame,
  context: VisitContext,
): VisitAnglesResult {
  const laid = conductors.map((c) => usable(c, frame, context));
  if (laid.some((l) => l.samples.length === 0)) {
    return { ok: false, reasons: distinct(laid.flatMap((l) => (l.samples.length === 0 ? l.reasons : []))) };
  }
  const compared = comparableAngles(
    laid.flatMap((l) => l.samples.map((s) => s.sample)),
    frame,
  );
  if (!compared.ok) return compared;
  const angles: VisitAngle[] = [];
  const reasons: Reason[] = [];
  let next = 0;
  for (const [i, { samples }] of laid.entries()) {
    const from = next;
    next += samples.length;
    const angleDeg = compared.angles.angleDeg.slice(from, next);
    const carrySdDeg = compared.angles.carrySdDeg.slice(from, next);
    const made = together(conductors[i]!.terminal, samples, angleDeg, carrySdDeg, frame);
    if ('code' in made) reasons.push(made);
    else angles.push(made);
  }
  return reasons.length > 0 ? { ok: false, reasons: distinct(reasons) } : { ok: true, angles };
}

function usable(conductor: ConductorReadings, frame: Frame, context: VisitContext) {
  const samples: Laid[] = [];
  const reasons: Reason[] = [];
  const terminal = context.terminals?.get(conductor.terminal);
  for (const s of conductor.readings) {
    const sample = angleSample(s, frame);
    const fit = fitnessIn(readingOf(s), frame, context, terminal);
    if (sample && fit.uses.relative) samples.push({ sample, clockErrorUs: fit.clockErrorUs });
    else reasons.push(...(sample ? fit.reasons : [noAngle(conductor.terminal)]));
  }
  return { samples, reasons: reasons.length > 0 ? reasons : [noAngle(conductor.terminal)] };
}

function noAngle(terminal: string): Reason {
  return { code: 'no-angle', why: `no angle was read at ${terminal}`, settle: `read the angle at ${terminal}` };
}

function together(
  terminal: string,
  samples: readonly Laid[],
  angles: readonly number[],
  carrySdDeg: readonly number[],
  frame: Frame,
): VisitAngle | Reason {
  const mean = samples.length === 1 ? alone(samples[0]!, angles[0]!) : averaged(samples, angles, carrySdDeg, frame);
  if (!mean) return readingsDisagree(terminal, angles);
  const shared = samples.map((s, i) => Math.hypot(s.sample.commonSdDeg, carrySdDeg[i]!));
  const clocks = samples.map((s) => s.clockErrorUs);
  return {
    terminal,
    angleDeg: mean.angleDeg,
    sdDeg: mean.sdDeg,
    sharedSdDeg: Math.max(...shared),
    clockErrorUs: clocks.includes(null) ? null : Math.max(...clocks.map((c) => c!)),
    readings: samples.map((s) => s.sample.reading),
    referenceFrom: samples.length === 1 ? samples[0]!.sample.from : samples.flatMap((s) => s.sample.from),
  };
}

type Mean = Pick<VisitAngle, 'angleDeg' | 'sdDeg'>;

const alone = ({ sample }: Laid, angleDeg: number): Mean => ({ angleDeg, sdDeg: sample.sdDeg });

/** Undefined when the readings contradict each other. */
function averaged(
  samples: readonly Laid[],
  angles: readonly number[],
  carrySdDeg: readonly number[],
  frame: Frame,
): Mean | undefined {
  const sds = samples.map((s) => s.sample.sdDeg);
  const weights = sds.map((s) => 1 / (s * s));
  const angleDeg = circularMean(angles, weights);
  const spread = Math.max(
    ...angles.map((a, i) => Math.abs(difference(a, angleDeg)) / Math.hypot(sds[i]!, frame.driftSdDeg, carrySdDeg[i]!)),
  );
  if (Number.isNaN(angleDeg) || spread > SPREAD_LIMIT_SD) return undefined;
  return { angleDeg, sdDeg: Math.sqrt(1 / weights.reduce((a, b) => a + b, 0)) };
}
