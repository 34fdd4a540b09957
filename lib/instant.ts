/** Instants as whole microseconds since 1970-01-01T00:00:00Z: exact in a double until the year 2255. */

const FORM = /^(\d{4})-(\d{2})-(\d{2})[Tt](\d{2}):(\d{2}):(\d{2})(?:\.(\d{1,9}))?(?:[Zz]|([+-])(\d{2}):(\d{2}))$/;

/**
 * Microseconds since the epoch, or NaN when the text is not an RFC 3339 instant that exists.
 * Digits past the microsecond are rounded. A leap second (…:60) is read as the first instant of the next minute.
 * @example parseInstant('1970-01-01T00:00:01.5Z') // 1500000
 */
export function parseInstant(text: string): number {
  const m = FORM.exec(text);
  if (!m) return Number.NaN;
  const [year, month, day, hour, minute, second] = m.slice(1, 7).map(Number) as [
    number,
    number,
    number,
    number,
    number,
    number,
  ];
  if (month < 1 || month > 12 || day < 1 || hour > 23 || minute > 59 || second > 60) return Number.NaN;
  const midnightMs = Date.UTC(year, month - 1, day);
  if (new Date(midnightMs).getUTCDate() !== day) return Number.NaN;
  const offsetMin = m[8] ? (m[8] === '-' ? -1 : 1) * (Number(m[9]) * 60 + Number(m[10])) : 0;
  const micros = Math.round(Number(`0.${m[7] ?? '0'}`) * 1e6);
  return midnightMs * 1000 + ((hour * 60 + minute - offsetMin) * 60 + second) * 1e6 + micros;
}

/**
 * RFC 3339 text in UTC with six decimals.
 * @example formatInstant(1500000) // '1970-01-01T00:00:01.500000Z'
 */
export function formatInstant(us: number): string {
  const whole = Math.floor(us / 1e6);
  const micros = String(us - whole * 1e6).padStart(6, '0');
  return `${new Date(whole * 1000).toISOString().slice(0, 19)}.${micros}Z`;
}
