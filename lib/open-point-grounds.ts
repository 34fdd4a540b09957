/** What a comparison rests on: the angles of both sides, and what speaks against using them. */
import { fitnessIn } from './fitness';
import { voltagePu } from './fitness-voltage';
import type { SidesAngles } from './open-point-landings';
import { type CompareOptions, DEFAULT_WINDOW_S } from './open-point-options';
import { type ProofResult, proofOf } from './open-point-proof';
import { takenAtUs } from './reading';
import type { Reading, Reason } from './records';
import { type ConductorReadings, readingOf } from './sample';
import { angleErrorDeg } from './timing';
import { type VisitAngle, visitAngles } from './visit-angles';

export interface Sides extends SidesAngles {
  readonly left: readonly VisitAngle[];
  readonly right: readonly VisitAngle[];
  /** standard uncertainty of the clocks of both sides, degrees */
  readonly clocksSdDeg: number;
  readonly referenceFrom: readonly string[];
}

export interface Grounds {
  /** undefined when there are no angles to compare */
  readonly sides: Sides | undefined;
  readonly proof: ProofResult;
  /** what forbids any verdict */
  readonly doubts: readonly Reason[];
  /** what forbids `same-phase` only */
  readonly missing: readonly Reason[];
}

export function grounds(
  left: readonly ConductorReadings[],
  right: readonly ConductorReadings[],
  options: CompareOptions,
): Grounds {
  const { frame, windowS = DEFAULT_WINDOW_S } = options;
  const visit = visitAngles([...left, ...right], frame, options);
  const [l, r] = [left, right].map((side) => side.flatMap((c) => c.readings.map(readingOf))) as [Reading[], Reading[]];
  const proof = proofOf(l, r, options.proof, frame, windowS);
  const doubts = [
    ...refusedReadings([...l, ...r], options),
    ...(visit.ok ? clockDoubts(visit.angles, options) : visit.reasons),
    ...windowDoubt([...l, ...r], windowS),
    ...(proof.contradiction ? [proof.contradiction] : []),
  ];
  const missing = [
    ...liveMissing(left, 'left', options),
    ...liveMissing(right, 'right', options),
    ...proofMissing(proof, options),
  ];
  return { sides: visit.ok ? sidesOf(visit.angles, options) : undefined, proof, doubts, missing };
}

function sidesOf(angles: readonly VisitAngle[], { frame }: CompareOptions): Sides {
  const left = angles.slice(0, angles.length / 2);
  const right = angles.slice(angles.length / 2);
  const clocks = [left, right].map((side) => {
    const errorUs = Math.max(...side.map((a) => a.clockErrorUs ?? 0));
    return Math.hypot(angleErrorDeg(errorUs, frame.nominalHz), Math.max(...side.map((a) => a.sharedSdDeg)));
  });
  const clocksSdDeg = Math.hypot(...clocks);
  const own = (side: readonly VisitAngle[]) => side.map((a) => Math.hypot(a.sdDeg, frame.unbalanceSdDeg));
  return {
    left,
    right,
    leftDeg: left.map((a) => a.angleDeg),
    rightDeg: right.map((a) => a.angleDeg),
    leftSdDeg: own(left),
    rightSdDeg: own(right),
    clocksSdDeg,
    commonSdDeg: Math.hypot(clocksSdDeg, frame.driftSdDeg),
    referenceFrom: [...new Set(angles.flatMap((a) => a.referenceFrom))],
  };
}

function refusedReadings(readings: readonly Reading[], options: CompareOptions): Reason[] {
  return readings.flatMap((reading) => {
    const fit = fitnessIn(reading, options.frame, options, options.terminals?.get(reading.terminal));
    if (fit.grade !== 'refused') return [];
    return fit.reasons.map((r) => ({ ...r, why: `${reading.terminal}: ${r.why}` }));
  });
}

function clockDoubts(angles: readonly VisitAngle[], { frame }: CompareOptions): Reason[] {
  return angles
    .filter((a) => a.clockErrorUs === null || a.clockErrorUs > frame.clockBudgetUs)
    .slice(0, 1)
    .map(({ terminal, clockErrorUs }) => ({
      code: clockErrorUs === null ? 'time-quality-unknown' : 'time-out-of-budget',
      why:
        clockErrorUs === null
          ? `${terminal}: the quality of its time is not known, and an unnoticed third of a cycle makes a rolled landing look straight`
          : `${terminal}: the standard error of its time is ${clockErrorUs} us; the frame allows ${frame.clockBudgetUs} us`,
      settle: 'read both sides with instruments that are locked to a time source and state their clock error',
    }));
}

function windowDoubt(readings: readonly Reading[], windowS: number): Reason[] {
  const instants = readings.map(takenAtUs);
  const spanS = (Math.max(...instants) - Math.min(...instants)) / 1e6;
  if (spanS <= windowS) return [];
  return [
    {
      code: 'outside-window',
      why: `the readings span ${Math.round(spanS)} s; ${windowS} s are allowed`,
      settle: 'read both sides again in one go',
    },
  ];
}

/** A voltage below this shows nothing where the nominal voltage is not known: extra-low voltage of IEC 61140, from memory. */
const LEAST_LIVE_V = 50;
/** Part of nominal from which a conductor counts as live. Common practice, no source. */
const LEAST_LIVE_PU = 0.5;

function liveMissing(side: readonly ConductorReadings[], which: 'left' | 'right', options: CompareOptions): Reason[] {
  if (options.live?.[which]) return [];
  const silent = side.filter((c) => !c.readings.some((s) => showsVoltage(readingOf(s), options)));
  if (silent.length === 0) return [];
  return [
    {
      code: 'live-not-shown',
      why: `no voltage was read in contact at ${silent.map((c) => c.terminal).join(', ')}, and nobody states the ${which} side to be live`,
      settle: `read the voltage there in contact, or state the ${which} side to be live`,
    },
  ];
}

function showsVoltage(reading: Reading, options: CompareOptions): boolean {
  const pu = voltagePu(reading, options.terminals?.get(reading.terminal));
  if (pu !== undefined) return pu >= LEAST_LIVE_PU;
  return reading.coupling === 'contact' && (reading.voltageV ?? 0) >= LEAST_LIVE_V;
}

function proofMissing({ proof, reason }: ProofResult, options: CompareOptions): Reason[] {
  const strict = options.requireProof === 'common-conductor';
  if (strict ? proof === 'common-conductor' : proof !== null) return [];
  if (reason) return [reason];
  const why = strict
    ? 'the instruments were not proven against each other on a common conductor'
    : 'neither is every clock locked with a known error, nor were the instruments proven against each other on a common conductor';
  const settle = 'before and after the open point, read one common conductor with the same two instruments';
  return [{ code: 'common-time-unproven', why, settle }];
}
