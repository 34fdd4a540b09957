/**
 * The daily proof of an instrument and of the reference it is read against: a conductor of known phase, read before and after a job,
 * brackets the readings of the job (common practice, no source).
 */
import { separation } from './angle';
import type { Frame } from './frame';
import { type IdentifyContext, identify } from './identify';
import { takenAtUs } from './reading';
import type { Identification, Reading, Reason } from './records';
import { readingOf, type Sample } from './sample';

export interface KnownConductor {
  readonly terminal: string;
  readonly phase: string;
}

export type DailyProof =
  | {
      readonly proven: true;
      readonly before: Identification;
      readonly after: Identification;
      /** separation of the two, degrees */
      readonly movedDeg: number;
    }
  | { readonly proven: false; readonly reasons: readonly Reason[] };

/** A working day: what is read farther apart is not bracketed. */
const LONGEST_US = 12 * 3600e6;

/**
 * Whether a conductor of known phase, read by the same instrument before and after, brackets the readings of a job: both times it
 * must be found to be its phase, and it must not have moved by more than 3 standard uncertainties of the difference.
 * Reason codes: instrument-not-one, not-bracketed, bracket-too-wide, known-phase-not-found, known-conductor-moved.
 * @param job readings of one instrument, at least one
 * @param knownReadings of the known conductor, in any order; those of other instruments are passed over
 * @throws RangeError when the job has no readings
 */
export function dailyProof(
  job: readonly Sample[],
  known: KnownConductor,
  knownReadings: readonly Sample[],
  frame: Frame,
  context: IdentifyContext = {},
): DailyProof {
  if (job.length === 0) throw new RangeError('dailyProof: the job has no readings');
  const instrument = oneInstrument(job.map(readingOf));
  if (instrument === undefined) return no(NOT_ONE);
  const own = knownReadings
    .filter((s) => readingOf(s).terminal === known.terminal && readingOf(s).instrument?.id === instrument)
    .sort((a, b) => us(a) - us(b));
  const [firstUs, lastUs] = [Math.min(...job.map(us)), Math.max(...job.map(us))];
  const before = own.findLast((s) => us(s) <= firstUs);
  const after = own.find((s) => us(s) >= lastUs);
  if (!before || !after) return no(notBracketed(known, before ? 'after' : 'before'));
  if (us(after) - us(before) > LONGEST_US) return no(TOO_WIDE);
  return compared(
    known,
    [before, after].map((s) => identify([s], frame, context)),
  );
}

function compared(known: KnownConductor, found: readonly Identification[]): DailyProof {
  const [before, after] = found as [Identification, Identification];
  const other = found.filter((i) => i.phase !== known.phase);
  if (other.length > 0) return no(...other.map((i) => notFound(known, i)));
  const movedDeg = separation(before.angleDeg!, after.angleDeg!);
  if (movedDeg > 3 * Math.hypot(before.sdDeg!, after.sdDeg!)) return no(moved(known, movedDeg));
  return Object.freeze({ proven: true, before, after, movedDeg });
}

const us = (sample: Sample): number => takenAtUs(readingOf(sample));

function oneInstrument(readings: readonly Reading[]): string | undefined {
  const ids = new Set(readings.map((r) => r.instrument?.id));
  return ids.size === 1 ? [...ids][0] : undefined;
}

const no = (...reasons: readonly Reason[]): DailyProof =>
  Object.freeze({ proven: false, reasons: Object.freeze(reasons) });

const AGAIN = 'read the known conductor with this instrument before and after the job';
const NOT_ONE: Reason = Object.freeze({
  code: 'instrument-not-one',
  why: 'the job was read by several instruments, or by one without a name',
  settle: 'prove each instrument by itself',
});
const TOO_WIDE: Reason = Object.freeze({
  code: 'bracket-too-wide',
  why: 'the readings before and after lie more than twelve hours apart',
  settle: AGAIN,
});
const notBracketed = ({ terminal }: KnownConductor, missing: string): Reason => ({
  code: 'not-bracketed',
  why: `${terminal} was not read ${missing} the job by this instrument`,
  settle: AGAIN,
});
const notFound = ({ terminal, phase }: KnownConductor, i: Identification): Reason => ({
  code: 'known-phase-not-found',
  why: `${terminal} is known as ${phase} and was found ${i.phase ?? 'not proven'}: ${i.reasons.map((r) => r.why).join('; ') || 'another phase'}`,
  settle: 'take the job for not proven; check instrument, clock and reference, then read again',
});
const moved = ({ terminal }: KnownConductor, degrees: number): Reason => ({
  code: 'known-conductor-moved',
  why: `${terminal} moved by ${degrees.toFixed(1)} degrees between before and after, more than the readings allow`,
  settle: 'take the job for not proven; watch the reference and the clock of the instrument',
});
