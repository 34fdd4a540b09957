import { expect } from 'chai';
import fc from 'fast-check';
import { formatInstant, parseInstant } from '../../lib/instant';

const SEED = { seed: 20261125, numRuns: 200 };
/** Whole microseconds that a double holds exactly: the years 1970 to 2255. */
const us = fc.integer({ min: 0, max: Number.MAX_SAFE_INTEGER });

describe('instants', () => {
  it('come back from their text exactly', () =>
    fc.assert(
      fc.property(us, (t) => {
        expect(parseInstant(formatInstant(t))).to.equal(t);
      }),
      SEED,
    ));

  it('agree with the Date of ECMAScript, millisecond by millisecond, over the years 0 to 9999', () =>
    fc.assert(
      fc.property(
        fc.integer({ min: Date.parse('0000-01-01T00:00:00Z'), max: Date.parse('9999-12-31T23:59:59Z') }),
        (ms) => {
          expect(parseInstant(new Date(ms).toISOString())).to.equal(ms * 1000);
        },
      ),
      SEED,
    ));

  it('say the same in any zone', () =>
    fc.assert(
      fc.property(us, fc.integer({ min: -23 * 60, max: 23 * 60 }), (t, offsetMin) => {
        const local = formatInstant(t + 86_400e6 + offsetMin * 60e6).slice(0, -1);
        const two = (n: number) => String(n).padStart(2, '0');
        const zone = `${offsetMin < 0 ? '-' : '+'}${two(Math.floor(Math.abs(offsetMin) / 60))}:${two(Math.abs(offsetMin) % 60)}`;
        expect(parseInstant(`${local}${zone}`)).to.equal(t + 86_400e6);
      }),
      SEED,
    ));

  // RFC 3339 section 5.8.
  const EXAMPLES: [text: string, sameAs: string][] = [
    ['1985-04-12T23:20:50.52Z', '1985-04-12T23:20:50.520000Z'],
    ['1996-12-19T16:39:57-08:00', '1996-12-20T00:39:57.000000Z'],
    ['1990-12-31T23:59:60Z', '1991-01-01T00:00:00.000000Z'],
    ['1990-12-31T15:59:60-08:00', '1991-01-01T00:00:00.000000Z'],
    ['1937-01-01T12:00:27.87+00:20', '1937-01-01T11:40:27.870000Z'],
  ];
  for (const [text, sameAs] of EXAMPLES) {
    it(`${text} is ${sameAs} (RFC 3339, 5.8)`, () => expect(formatInstant(parseInstant(text))).to.equal(sameAs));
  }

  it('round digits past the microsecond, into the next second where need be', () => {
    expect(parseInstant('1970-01-01T00:00:00.0000015Z')).to.equal(2);
    expect(parseInstant('1970-01-01T00:00:00.9999999Z')).to.equal(1_000_000);
  });

  const NOT_INSTANTS = [
    '',
    '2026-05-04',
    '2026-05-04 10:15:30Z',
    '2026-05-04T10:15:30',
    '2026-05-04T10:15:30+2:00',
    '2026-02-29T00:00:00Z',
    '2026-02-30T00:00:00Z',
    '2026-13-01T00:00:00Z',
    '2026-00-10T00:00:00Z',
    '2026-01-00T00:00:00Z',
    '2026-01-01T24:00:00Z',
    '2026-01-01T00:60:00Z',
    '2026-01-01T00:00:61Z',
    '2026-01-01T12:34:60Z',
    '2026-01-01T00:00:00+24:00',
    '2026-01-01T00:00:00+00:60',
    '2026-01-01T00:00:00.Z',
    '2026-01-01T00:00:00.1234567890Z',
    '0000-01-01T00:00:00+00:01',
    '9999-12-31T23:59:59-00:01',
    '２026-05-04T10:15:30Z',
    '2026-05-04T10:15:30Z\n',
  ];
  for (const text of NOT_INSTANTS) {
    it(`${JSON.stringify(text)} is none`, () => expect(parseInstant(text)).to.be.NaN);
  }

  it('cannot be written outside the years 0 to 9999, nor in parts of a microsecond', () => {
    for (const bad of [Number.NaN, Number.POSITIVE_INFINITY, 1.5, 2.6e17, -1e18]) {
      expect(() => formatInstant(bad)).to.throw(RangeError, String(bad));
    }
  });
});
