/** Is the time of a reading good enough for an absolute phase? A third of a cycle of clock error looks like another phase. */
import { type Flaw, flaw } from './fitness-flaw';
import type { Frame } from './frame';
import type { Reading } from './records';

/**
 * Unknown, unlocked or too coarse time takes the absolute phase away; angles of one instrument and visit still compare.
 * @param errorUs standard error of the stamp, microseconds; null when the reading does not say
 */
export function clockFlaws(reading: Reading, errorUs: number | null, frame: Frame): Flaw[] {
  if (reading.angleDeg === undefined) return [];
  if (errorUs === null) {
    const why = 'the quality of its time is not known, and an unnoticed third of a cycle looks like another phase';
    return [
      flaw(['absolutePhase'], 'time-quality-unknown', why, 'read again with an instrument that states its clock error'),
    ];
  }
  if (errorUs > frame.clockBudgetUs) {
    const why = `the standard error of its time is ${round(errorUs)} us; the frame allows ${frame.clockBudgetUs} us`;
    return [
      flaw(['absolutePhase'], 'time-out-of-budget', why, 'let the instrument lock to its time source and read again'),
    ];
  }
  return [];
}

const round = (x: number): number => Number(x.toPrecision(3));
