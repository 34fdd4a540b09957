/** Is the time of a reading good enough for an absolute phase? A third of a cycle of clock error looks like another phase. */
import { type Flaw, flaw } from './fitness-flaw';
import type { Frame } from './frame';
import type { Reading } from './records';

/**
 * Unknown, unlocked or too coarse time takes the absolute phase away; angles of one instrument and visit still compare.
 * @param errorUs standard error of the stamp, microseconds; null when the reading does not say
 */
export function clockFlaw(reading: Reading, errorUs: number | null, frame: Frame): Flaw | undefined {
  if (reading.angleDeg === undefined) return undefined;
  if (errorUs === null) {
    const why = 'the quality of its time is not known, and an unnoticed third of a cycle looks like another phase';
    const settle = 'read again with an instrument that states its clock error';
    return flaw(['absolutePhase'], 'time-quality-unknown', why, settle);
  }
  if (errorUs <= frame.clockBudgetUs) return undefined;
  const why = `the standard error of its time is ${round(errorUs)} us; the frame allows ${frame.clockBudgetUs} us`;
  const settle = 'let the instrument lock to its time source and read again';
  return flaw(['absolutePhase'], 'time-out-of-budget', why, settle);
}

const round = (x: number): number => Number(x.toPrecision(3));
