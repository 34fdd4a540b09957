/** The offset of a reference, from readings at conductors whose phase is known. Records err, so they vote before they are averaged. */
import { circularSd, difference, wrap180 } from './angle';
import { FEWEST, noMajority, type Offset, thinly, tooFew, unfitReading } from './calibrate-reasons';
import { voteOffset } from './calibrate-vote';
import { fitness } from './fitness';
import type { Frame, Reference } from './frame';
import { phaseClasses, referenceAngleDeg } from './phase-classes';
import type { Connection, Reason } from './records';
import { angleSample, readingOf, type Sample } from './sample';

/** A conductor whose phase is known, as well as records can be, and what was read there against the reference. */
export interface KnownConductor {
  readonly terminal: string;
  readonly site?: string;
  /** the reading, against the reference or aligned with it */
  readonly sample?: Sample;
  /** in place of a sample: reading minus reference, degrees, in the sense of the instruments, of known time quality */
  readonly relativeDeg?: number;
  /** phase by which the conductor is known */
  readonly phase?: string;
  /** phase-neutral when left out */
  readonly connection?: Connection;
  /** vector groups passed; the reference's own path when left out */
  readonly path?: readonly string[];
  /** in place of phase, connection and path: the angle it should show, the zero phase at zero, lead positive, degrees */
  readonly expectedDeg?: number;
}

export interface CalibrateOptions {
  /** how near two offsets must be to support each other, degrees; 20 when left out */
  readonly supportDeg?: number;
}

export type Calibration =
  | {
      readonly calibrated: true;
      readonly offsetDeg: number;
      readonly offsetSdDeg: number;
      /** terminals whose readings agree on the offset */
      readonly supporters: readonly string[];
      /** terminals that do not agree: their record or their reading is wrong */
      readonly dissenters: readonly string[];
      /** circular standard deviation of the supporters, degrees */
      readonly spreadDeg: number;
      readonly reasons: readonly Reason[];
    }
  | { readonly calibrated: false; readonly dissenters: readonly string[]; readonly reasons: readonly Reason[] };

/**
 * The offset that `reference.offsetDeg` should have: what (reading minus reference) shows beyond the phases, connections and
 * vector groups of conductor and reference.
 * @throws RangeError when a conductor has neither a sample nor relativeDeg, or neither a phase of the frame nor expectedDeg
 */
export function calibrateReference(
  known: readonly KnownConductor[],
  frame: Frame,
  reference: Reference,
  options: CalibrateOptions = {},
): Calibration {
  const found = known.map((k) => offsetOf(k, frame, reference));
  const offsets = found.flatMap((f) => ('reason' in f ? [] : [f]));
  const unfit = found.flatMap((f) => ('reason' in f ? [f.reason] : []));
  if (offsets.length < FEWEST) return refused([], [...unfit, tooFew(offsets.length)]);
  const vote = voteOffset(
    offsets.map((o) => o.offsetDeg),
    options.supportDeg,
  );
  if (!vote) return refused(offsets, [...unfit, noMajority(offsets)]);
  const supporters = vote.supporters.map((i) => offsets[i]!);
  const spreadDeg = circularSd(supporters.map((o) => o.offsetDeg));
  return Object.freeze({
    calibrated: true,
    offsetDeg: vote.offsetDeg,
    offsetSdDeg: offsetSd(supporters, spreadDeg, frame),
    supporters: supporters.map((o) => o.known.terminal),
    dissenters: offsets.filter((o) => !supporters.includes(o)).map((o) => o.known.terminal),
    spreadDeg,
    reasons: [...unfit, ...thinly(supporters)],
  });
}

function offsetOf(known: KnownConductor, frame: Frame, reference: Reference): Offset | { readonly reason: Reason } {
  const read = readAngle(known, frame, reference);
  if ('reason' in read) return read;
  const turn = difference(expectedDeg(known, frame, reference), referenceAngleDeg(frame, reference));
  const offsetDeg = wrap180(read.relativeDeg - (frame.sense === 'lag' ? -turn : turn));
  return { known, offsetDeg, sdDeg: read.sdDeg };
}

function readAngle(
  known: KnownConductor,
  frame: Frame,
  reference: Reference,
): { readonly relativeDeg: number; readonly sdDeg: number } | { readonly reason: Reason } {
  if (known.relativeDeg !== undefined) return { relativeDeg: known.relativeDeg, sdDeg: frame.readingSdDeg };
  if (!known.sample) throw new RangeError(`calibrateReference: ${known.terminal} has neither sample nor relativeDeg`);
  const laid = angleSample(known.sample, frame);
  const fit = fitness(readingOf(known.sample), { frame });
  if (!laid || laid.against !== reference.id || !fit.uses.absolutePhase)
    return { reason: unfitReading(known, fit.reasons) };
  return { relativeDeg: laid.angleDeg, sdDeg: Math.hypot(laid.sdDeg, laid.commonSdDeg) };
}

function expectedDeg(known: KnownConductor, frame: Frame, reference: Reference): number {
  if (known.expectedDeg !== undefined) return known.expectedDeg;
  const phase = frame.phases.indexOf(known.phase ?? '');
  if (phase < 0) {
    throw new RangeError(
      `calibrateReference: ${known.terminal} needs a phase of ${frame.phases.join(', ')} or expectedDeg, got ${known.phase}`,
    );
  }
  const connection = known.connection ?? 'phase-neutral';
  const path = known.path ?? reference.path ?? [];
  const classes = phaseClasses({ ...frame, connections: [connection] }, { connection, path, sequence: 'ABC' });
  return classes.expectedDeg[phase]!;
}

/** The readings' own errors fall with their number, the load-flow allowance with the number of sites; never less than what is seen. */
function offsetSd(supporters: readonly Offset[], spreadDeg: number, frame: Frame): number {
  const count = supporters.length;
  const sites = new Set(supporters.map((o) => o.known.site)).size;
  const own = Math.hypot(...supporters.map((o) => Math.hypot(o.sdDeg, frame.unbalanceSdDeg))) / count;
  return Math.max(Math.hypot(own, frame.driftSdDeg / Math.sqrt(sites)), spreadDeg / Math.sqrt(Math.max(1, count - 1)));
}

const refused = (offsets: readonly Offset[], reasons: readonly Reason[]): Calibration =>
  Object.freeze({ calibrated: false, dissenters: offsets.map((o) => o.known.terminal), reasons });
