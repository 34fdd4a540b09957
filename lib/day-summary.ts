/** What stays of a day's readings at one terminal when the readings themselves are let go. */
import { circularMean, resultantLength } from './angle';
import { fitnessIn } from './fitness';
import { makeFrame } from './frame';
import { formatInstant } from './instant';
import { takenAtUs } from './reading';
import type { Reading } from './records';

export interface DaySummary {
  readonly terminal: string;
  /** the day in UTC, as 2026-05-04 */
  readonly day: string;
  /** what the angles are against: 'utc' or the id of a reference; empty for readings without an angle */
  readonly against: string;
  readonly readings: number;
  /** first and last instant, microseconds since 1970 */
  readonly firstUs: number;
  readonly lastUs: number;
  readonly angles: number;
  /** mean direction, [-180, 180) degrees; null when there is none */
  readonly meanAngleDeg: number | null;
  /** mean resultant length of the angles, 0 (spread all round) to 1 (all alike); null without angles */
  readonly resultant: number | null;
  readonly voltages: number;
  /** arithmetic mean of the magnitudes, volts; null without voltages */
  readonly meanVoltageV: number | null;
  /** the worst grade by the default frame, whatever the age */
  readonly worstFitness: 'good' | 'usable' | 'refused';
  /** ids, sorted */
  readonly instruments: readonly string[];
}

const GRADES = ['good', 'usable', 'refused'] as const;
const FRAME = makeFrame();

/**
 * One summary for each terminal, day (UTC) and `against` among the readings.
 * @example summariseDays([{ kind: 'reading', id: 'r', terminal: 't', takenAt: '2026-05-04T10:15:30Z', angleDeg: 350, against: 'ref' }])[0].meanAngleDeg // -10
 */
export function summariseDays(readings: readonly Reading[]): DaySummary[] {
  const days = new Map<string, DaySummary>();
  for (const reading of readings) {
    const own = summaryOf(reading);
    const key = keyOfDay(own);
    const before = days.get(key);
    days.set(key, before ? mergeDays(before, own) : own);
  }
  return [...days.values()];
}

/** The same text for summaries of the same terminal, day and `against`. */
export const keyOfDay = ({ terminal, day, against }: Pick<DaySummary, 'terminal' | 'day' | 'against'>): string =>
  JSON.stringify([terminal, day, against]);

/**
 * Two summaries of the same terminal, day and `against` as one: what one summary of all their readings would say.
 * The mean direction is that of the sum of both resultants, each as long as angles times resultant length.
 */
export function mergeDays(a: DaySummary, b: DaySummary): DaySummary {
  const angles = a.angles + b.angles;
  const voltages = a.voltages + b.voltages;
  const lengths = [a, b].map((s) => s.angles * (s.resultant ?? 0));
  const directions = [a, b].map((s) => s.meanAngleDeg ?? 0);
  const length = lengths[0]! + lengths[1]!;
  const direction = length > 0 ? circularMean(directions, lengths) : Number.NaN;
  return {
    ...a,
    readings: a.readings + b.readings,
    firstUs: Math.min(a.firstUs, b.firstUs),
    lastUs: Math.max(a.lastUs, b.lastUs),
    angles,
    meanAngleDeg: Number.isNaN(direction) ? null : direction,
    resultant: angles === 0 ? null : length > 0 ? (resultantLength(directions, lengths) * length) / angles : 0,
    voltages,
    meanVoltageV:
      voltages === 0 ? null : ((a.meanVoltageV ?? 0) * a.voltages + (b.meanVoltageV ?? 0) * b.voltages) / voltages,
    worstFitness: GRADES[Math.max(GRADES.indexOf(a.worstFitness), GRADES.indexOf(b.worstFitness))]!,
    instruments: [...new Set([...a.instruments, ...b.instruments])].sort(),
  };
}

function summaryOf(reading: Reading): DaySummary {
  const { terminal, against = '', angleDeg, voltageV, instrument } = reading;
  const at = takenAtUs(reading);
  return {
    terminal,
    day: formatInstant(at).slice(0, 10),
    against: angleDeg === undefined ? '' : against,
    readings: 1,
    firstUs: at,
    lastUs: at,
    angles: angleDeg === undefined ? 0 : 1,
    meanAngleDeg: angleDeg === undefined ? null : circularMean([angleDeg]),
    resultant: angleDeg === undefined ? null : 1,
    voltages: voltageV === undefined ? 0 : 1,
    meanVoltageV: voltageV ?? null,
    worstFitness: fitnessIn(reading, FRAME, {}, undefined).grade,
    instruments: instrument ? [instrument.id] : [],
  };
}
