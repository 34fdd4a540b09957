/** May this reading be used, and for what? Reasons, not booleans. */

import { clockFlaw } from './fitness-clock';
import { EVERY_USE, type Flaw, flaw, type Uses } from './fitness-flaw';
import { voltageFlaw } from './fitness-voltage';
import type { Frame } from './frame';
import type { Terminal } from './network';
import { takenAtUs } from './reading';
import type { Reading, Reason } from './records';
import { clockErrorUs } from './timing';

export interface FitnessSettings {
  readonly frame: Frame;
  /** now, microseconds since the epoch; without it neither staleness nor a future stamp can be judged */
  readonly nowUs?: number;
  readonly terminal?: Terminal | undefined;
  /** older readings are refused, seconds; left out: any age */
  readonly maxAgeS?: number;
  /** how far ahead of us an instrument's clock may be, seconds; 5 when left out */
  readonly futureToleranceS?: number;
  /** readings of an instrument with less are refused, percent; 10 when left out */
  readonly batteryLowPct?: number;
  /** days for which a calibration counts; left out: not asked for */
  readonly calibrationDays?: number;
}

export interface Fitness {
  /** good: nothing to hold against it. usable: with reservations. refused: for nothing */
  readonly grade: 'good' | 'usable' | 'refused';
  readonly uses: Uses;
  readonly reasons: readonly Reason[];
  /** standard error of the time stamp, microseconds; null when the time quality is not known */
  readonly clockErrorUs: number | null;
}

const DAY_US = 86_400e6;

/**
 * What a reading may be used for. A flaw takes uses away; a reading with none left is refused.
 * @example fitness({ kind: 'reading', id: 'r', terminal: 't', takenAt: '2026-05-04T10:15:30Z', angleDeg: 1, against: 'utc' }, { frame: makeFrame() }).uses.absolutePhase // false
 */
export function fitness(reading: Reading, settings: FitnessSettings): Fitness {
  return fitnessIn(reading, settings.frame, settings, settings.terminal);
}

/** `fitness` with the frame and the terminal by themselves, for callers that judge many readings with one set of settings. */
export function fitnessIn(
  reading: Reading,
  frame: Frame,
  settings: Omit<FitnessSettings, 'frame' | 'terminal'>,
  terminal: Terminal | undefined,
): Fitness {
  const errorUs = clockErrorUs(reading.clock);
  const flaws: Flaw[] = [];
  instrumentFlaws(flaws, reading, settings);
  stampFlaws(flaws, reading, settings);
  angleFlaws(flaws, reading);
  const clock = clockFlaw(reading, errorUs, frame);
  if (clock) flaws.push(clock);
  const voltage = voltageFlaw(reading, terminal);
  if (voltage) flaws.push(voltage);
  const uses = usesLeft(reading, flaws);
  const refused = !uses.absolutePhase && !uses.relative && !uses.magnitude;
  return Object.freeze({
    grade: refused ? 'refused' : flaws.length > 0 ? 'usable' : 'good',
    uses,
    reasons: flaws.length === 0 ? NONE : Object.freeze(flaws.map((f) => f.reason)),
    clockErrorUs: errorUs,
  });
}

const NONE: readonly Reason[] = Object.freeze([]);

function usesLeft(reading: Reading, flaws: readonly Flaw[]): Uses {
  const left = {
    absolutePhase: reading.angleDeg !== undefined,
    relative: reading.angleDeg !== undefined,
    magnitude: reading.voltageV !== undefined,
  };
  for (const { forbids } of flaws) for (const use of forbids) left[use] = false;
  return Object.freeze(left);
}

type Limits = Omit<FitnessSettings, 'frame' | 'terminal'>;

function instrumentFlaws(flaws: Flaw[], { instrument, takenAt }: Reading, settings: Limits): void {
  const low = settings.batteryLowPct ?? 10;
  if (instrument?.selfTest === 'fail') {
    const why = `instrument ${instrument.id} failed its self-test`;
    flaws.push(flaw(EVERY_USE, 'self-test-failed', why, 'read again with an instrument that passes'));
  }
  if (instrument?.batteryPct !== undefined && instrument.batteryPct < low) {
    const why = `battery of instrument ${instrument.id} is at ${instrument.batteryPct} %, below ${low} %`;
    flaws.push(flaw(EVERY_USE, 'battery-low', why, 'change the battery and read again'));
  }
  if (settings.calibrationDays !== undefined) calibrationFlaws(flaws, instrument, takenAt, settings.calibrationDays);
}

function calibrationFlaws(flaws: Flaw[], instrument: Reading['instrument'], takenAt: string, days: number): void {
  const settle = 'read again with an instrument that is in calibration';
  const name = instrument ? `instrument ${instrument.id}` : 'the instrument';
  const on = instrument?.calibratedOn;
  if (on === undefined) {
    const why = `the reading does not say when ${name} was calibrated`;
    flaws.push(flaw(EVERY_USE, 'calibration-unknown', why, settle));
    return;
  }
  const ageDays = Math.floor((Date.parse(takenAt.slice(0, 10)) - Date.parse(on)) / 86_400_000);
  if (ageDays <= days) return;
  const why = `${name} was calibrated on ${on}, ${ageDays} days before the reading; ${days} are allowed`;
  flaws.push(flaw(EVERY_USE, 'calibration-out-of-date', why, settle));
}

function stampFlaws(flaws: Flaw[], reading: Reading, settings: Limits): void {
  if (settings.nowUs === undefined) return;
  const ageUs = settings.nowUs - takenAtUs(reading);
  const tolerance = settings.futureToleranceS ?? 5;
  if (ageUs < -tolerance * 1e6) {
    const why = `the stamp ${reading.takenAt} lies ${seconds(-ageUs)} in the future`;
    flaws.push(flaw(EVERY_USE, 'stamp-in-future', why, 'set the clock of the instrument and read again'));
  } else if (settings.maxAgeS !== undefined && ageUs > settings.maxAgeS * 1e6) {
    const why = `the reading is ${seconds(ageUs)} old; ${settings.maxAgeS} s are allowed`;
    flaws.push(flaw(EVERY_USE, 'stale', why, 'read again'));
  }
}

const seconds = (us: number): string =>
  us > 2 * DAY_US ? `${Math.round(us / DAY_US)} days` : `${Math.round(us / 1e6)} s`;

function angleFlaws(flaws: Flaw[], reading: Reading): void {
  if (reading.angleDeg === undefined || reading.against !== undefined) return;
  const why = 'the reading does not say what its angle was read against';
  const settle = 'set against to "utc" or to the id of the reference';
  flaws.push(flaw(['absolutePhase', 'relative'], 'angle-without-against', why, settle));
}
