/** Instants as whole microseconds since 1970-01-01T00:00:00Z: exact in a double until the year 2255. */

const FORM = /^(\d{4})-(\d{2})-(\d{2})[Tt](\d{2}):(\d{2}):(\d{2})(?:\.(\d{1,9}))?(?:[Zz]|([+-])(\d{2}):(\d{2}))$/;

/** The Gregorian calendar repeats after 400 years; Date.UTC takes the years 0 to 99 for 1900 to 1999, so years are moved on and back. */
const CYCLE_MS = 146_097 * 86_400_000;
const DAY_US = 86_400e6;
const YEAR_0_US = (Date.UTC(400, 0, 1) - CYCLE_MS) * 1000;
const YEAR_10000_US = Date.UTC(10_000, 0, 1) * 1000;

/**
 * Microseconds since the epoch, or NaN when the text is not an RFC 3339 instant that exists in the years 0 to 9999.
 * Digits past the microsecond are rounded. A leap second (23:59:60 UTC) is read as the first second of the next day.
 * @example parseInstant('1970-01-01T00:00:01.5Z') // 1500000
 * @example parseInstant('2026-02-29T00:00:00Z') // NaN
 */
export function parseInstant(text: string): number {
  const m = FORM.exec(text);
  if (!m) return Number.NaN;
  const dayUs = midnightUs(Number(m[1]), Number(m[2]), Number(m[3]));
  const second = Number(m[6]);
  const secondOfDay = secondsOf(Number(m[4]), Number(m[5])) + second;
  const offset = m[8] === undefined ? 0 : secondsOf(Number(m[9]), Number(m[10])) * (m[8] === '-' ? -1 : 1);
  const wholeUs = dayUs + (secondOfDay - offset) * 1e6;
  if (second > 60 || (second === 60 && wholeUs % DAY_US !== 0)) return Number.NaN;
  const us = m[7] === undefined ? wholeUs : wholeUs + Math.round(Number(`0.${m[7]}`) * 1e6);
  return us >= YEAR_0_US && us < YEAR_10000_US ? us : Number.NaN;
}

function midnightUs(year: number, month: number, day: number): number {
  const ms = Date.UTC(year + 400, month - 1, day) - CYCLE_MS;
  const exists = month >= 1 && month <= 12 && day >= 1 && new Date(ms).getUTCDate() === day;
  return exists ? ms * 1000 : Number.NaN;
}

const secondsOf = (hour: number, minute: number): number =>
  hour > 23 || minute > 59 ? Number.NaN : (hour * 60 + minute) * 60;

/**
 * RFC 3339 text in UTC with six decimals.
 * @param us whole microseconds since the epoch
 * @throws RangeError outside the years 0 to 9999, which RFC 3339 cannot write
 * @example formatInstant(1500000) // '1970-01-01T00:00:01.500000Z'
 */
export function formatInstant(us: number): string {
  if (!Number.isInteger(us) || us < YEAR_0_US || us >= YEAR_10000_US) {
    throw new RangeError(`formatInstant: us must be whole microseconds within the years 0 to 9999, got ${us}`);
  }
  const whole = Math.floor(us / 1e6);
  const micros = String(us - whole * 1e6).padStart(6, '0');
  return `${new Date(whole * 1000).toISOString().slice(0, 19)}.${micros}Z`;
}
