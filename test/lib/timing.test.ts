import { expect } from 'chai';
import fc from 'fast-check';
import { separation } from '../../lib/angle';
import type { Clock } from '../../lib/records';
import { angleErrorDeg, carryForward, clockDoubt, clockErrorUs, holdoverErrorUs, timeErrorUs } from '../../lib/timing';

const SEED = { seed: 20261125, numRuns: 200 };
const hz = fc.double({ min: 45, max: 65, noNaN: true });
const seconds = fc.double({ min: -100, max: 100, noNaN: true });

describe('time and angle', () => {
  it('undo each other', () =>
    fc.assert(
      fc.property(fc.double({ min: -1e6, max: 1e6, noNaN: true }), hz, (errorUs, f) => {
        expect(timeErrorUs(angleErrorDeg(errorUs, f), f)).to.be.closeTo(errorUs, 1e-6);
      }),
      SEED,
    ));

  it('an angle carried there and back is where it was', () =>
    fc.assert(
      fc.property(hz, seconds, (f, s) => {
        const there = carryForward(10, 0, s * 1e6, f, 60);
        expect(separation(carryForward(there, s * 1e6, 0, f, 60), 10)).to.be.below(1e-6);
      }),
      SEED,
    ));

  it('an angle carried in two steps arrives where one step takes it', () =>
    fc.assert(
      fc.property(hz, seconds, seconds, (f, s, t) => {
        const steps = carryForward(carryForward(10, 0, s * 1e6, f, 60), s * 1e6, (s + t) * 1e6, f, 60);
        expect(separation(steps, carryForward(10, 0, (s + t) * 1e6, f, 60))).to.be.below(1e-6);
      }),
      SEED,
    ));

  it('stands still at nominal frequency, whatever the nominal is (synchrophasor definition of IEC/IEEE 60255-118-1)', () => {
    for (const f of [50, 60]) expect(carryForward(-33, 0, 5e6, f, f)).to.equal(-33);
  });
});

describe('the error of a clock', () => {
  const GNSS: Clock = { source: 'gnss', errorUs: 2, locked: true };
  const KNOWN: [what: string, clock: Clock, errorUs: number][] = [
    ['a locked clock that states its error', GNSS, 2],
    ['a stated error without a source', { errorUs: 2 }, 2],
    ['a network clock that states its error', { source: 'ntp', errorUs: 900 }, 900],
    ['holdover with its bound', { source: 'holdover', errorUs: 3, driftPpm: 0.01, holdoverS: 400 }, 5],
    ['a lost lock with its bound', { ...GNSS, errorUs: 3, locked: false, driftPpm: 0.01, holdoverS: 400 }, 5],
  ];
  for (const [what, clock, errorUs] of KNOWN) {
    it(`${what} is known`, () => {
      expect(clockErrorUs(clock)).to.be.closeTo(errorUs, 1e-9);
      expect(clockDoubt(clock)).to.equal(undefined);
    });
  }

  const UNKNOWN: [what: string, clock: Clock | undefined, code: string][] = [
    ['no clock', undefined, 'clock-missing'],
    ['an empty clock', {}, 'clock-error-unstated'],
    ['locked, without an error', { source: 'gnss', locked: true }, 'clock-error-unstated'],
    ['free running, with an error', { source: 'free-running', errorUs: 1 }, 'clock-free-running'],
    ['of unknown source, with an error', { source: 'unknown', errorUs: 1 }, 'clock-source-unknown'],
    ['not locked', { ...GNSS, locked: false }, 'clock-unlocked'],
    ['in holdover', { source: 'holdover', errorUs: 1 }, 'clock-unlocked'],
    ['in holdover since 60 s, drift not stated', { ...GNSS, holdoverS: 60 }, 'clock-unlocked'],
    ['in holdover, time not stated', { ...GNSS, locked: false, driftPpm: 1 }, 'clock-unlocked'],
    ['an error that is not a number', { ...GNSS, errorUs: Number.NaN }, 'clock-error-unstated'],
    ['an infinite error', { ...GNSS, errorUs: Number.POSITIVE_INFINITY }, 'clock-error-unstated'],
  ];
  for (const [what, clock, code] of UNKNOWN) {
    it(`${what}: not known, never guessed (${code})`, () => {
      expect(clockErrorUs(clock)).to.equal(null);
      expect(clockDoubt(clock)).to.include({ code }).and.to.have.property('settle');
    });
  }

  it('grows with the time in holdover', () => {
    const at = (holdoverS: number) => clockErrorUs({ source: 'holdover', errorUs: 1, driftPpm: 0.1, holdoverS })!;
    expect([at(0), at(10), at(100)]).to.deep.equal([...[at(0), at(10), at(100)]].sort((a, b) => a - b));
    expect(at(0)).to.equal(1);
    expect(holdoverErrorUs({ driftPpm: 2.5, holdoverS: 60 })).to.equal(150);
  });
});
