/** The lines of a configuration that speak of time (IEEE C37.111, from memory of the standard). */
import type { ComtradeConfig } from './config';
import type { Lines } from './lines';

/** The two lines that the 2013 revision added. */
export function clockOf(
  lines: Lines,
  revision: number,
): Pick<ComtradeConfig, 'offsetMin' | 'timeQuality' | 'hasLeapSecond'> {
  if (revision < 2013) return { offsetMin: undefined, timeQuality: undefined, hasLeapSecond: false };
  lines.next('time code, local code');
  const m = /^([+-]?)(\d{1,2})(?:h(\d{2}))?$/i.exec(lines.text(1));
  if (!m)
    throw lines.wrong('time-code-wrong', `the time code is ${JSON.stringify(lines.text(1))}`, '0, -4 or +5h30', 1);
  lines.next('time quality, leap second');
  const quality = lines.text(1);
  if (!/^[0-9a-f]$/i.test(quality))
    throw lines.wrong('time-quality-wrong', `the time quality is ${JSON.stringify(quality)}`, '0 to 9, A, B or F', 1);
  return {
    offsetMin: (m[1] === '-' ? -1 : 1) * (Number(m[2]) * 60 + Number(m[3] ?? 0)),
    timeQuality: Number.parseInt(quality, 16),
    hasLeapSecond: ['1', '2'].includes(lines.text(2)),
  };
}

/** dd/mm/yyyy, hh:mm:ss.ssssss; month first and years of two digits in 1991. Nine digits of a second: stamps count nanoseconds. */
export function instantOf(
  lines: Lines,
  what: string,
  revision: number,
): { readonly us: number; readonly unitUs: number } {
  lines.next(what);
  const isOld = revision < 1999;
  const d = /^(\d{1,2})\/(\d{1,2})\/(\d{4}|\d{2})$/.exec(lines.text(1));
  const right = isOld ? 'mm/dd/yy' : 'dd/mm/yyyy';
  if (!d || (!isOld && d[3]!.length !== 4)) throw lines.wrong('time-wrong', `the date is ${lines.text(1)}`, right, 1);
  const t = /^(\d{1,2}):(\d{1,2}):(\d{1,2}(?:\.(\d{1,9}))?)$/.exec(lines.text(2));
  if (!t) throw lines.wrong('time-wrong', `the time is ${lines.text(2)}`, 'hh:mm:ss.ssssss', 2);
  const [day, month] = isOld ? [d[2], d[1]] : [d[1], d[2]];
  const dayMs = midnightMs(yearOf(d[3]!), Number(month), Number(day));
  const isTime = Number(t[1]) < 24 && Number(t[2]) < 60 && Number(t[3]) < 60;
  if (dayMs === undefined || !isTime)
    throw lines.wrong('time-wrong', `there is no ${lines.text(1)}, ${lines.text(2)}`, right, 1);
  const minuteMs = dayMs + (Number(t[1]) * 60 + Number(t[2])) * 60_000;
  return { us: minuteMs * 1000 + Math.round(Number(t[3]) * 1e6), unitUs: (t[4]?.length ?? 0) > 6 ? 0.001 : 1 };
}

/** Undefined for a day that the calendar does not have, and for years before 1900, which no recorder has seen. */
function midnightMs(year: number, month: number, day: number): number | undefined {
  const date = new Date(Date.UTC(year, month - 1, day));
  const isReal = date.getUTCFullYear() === year && date.getUTCMonth() === month - 1 && date.getUTCDate() === day;
  return isReal && year >= 1900 ? date.getTime() : undefined;
}

const yearOf = (text: string): number =>
  text.length === 4 ? Number(text) : Number(text) + (Number(text) < 70 ? 2000 : 1900);
