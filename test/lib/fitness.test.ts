import { expect } from 'chai';
import { fitness, makeFrame, type Reading, type Terminal } from '../../lib';
import { NOON_US, read } from './readings';

const frame = makeFrame({ clockBudgetUs: 100 });
const terminal: Terminal = { id: 't', nominalV: 12470 };
const codes = (r: Reading, settings = {}) => fitness(r, { frame, ...settings }).reasons.map((x) => x.code);

describe('fitness of a reading', () => {
  it('a sound reading is good for everything', () => {
    const fit = fitness(read('t', 10, { voltageV: 7200, voltageIs: 'phase-to-earth' }), {
      frame,
      terminal,
      nowUs: NOON_US,
    });
    expect(fit).to.deep.equal({
      grade: 'good',
      uses: { absolutePhase: true, relative: true, magnitude: true },
      reasons: [],
      clockErrorUs: 1,
    });
    expect(Object.isFrozen(fit)).to.equal(true);
  });

  for (const [what, clock] of [
    ['no clock', undefined],
    ['a clock that states nothing', {}],
    ['a lock without an error', { source: 'gnss', locked: true }],
    ['an error without a lock', { source: 'gnss', errorUs: 1, locked: false }],
    ['a free-running clock', { source: 'free-running', errorUs: 1 }],
    ['an unknown source', { source: 'unknown', errorUs: 1 }],
    ['holdover without age and drift', { source: 'holdover', errorUs: 1 }],
  ] as const) {
    it(`${what}: never an absolute phase, but angles of one visit still compare`, () => {
      const fit = fitness(read('t', 10, { clock }), { frame });
      expect(fit.uses).to.include({ absolutePhase: false, relative: true });
      expect(fit.clockErrorUs).to.equal(null);
      expect(fit.reasons[0]?.code).to.equal('time-quality-unknown');
      expect(fit.reasons[0]?.settle).to.be.a('string');
    });
  }

  it('holdover is allowed until the oscillator may have used up the budget', () => {
    const held = (holdoverS: number) =>
      fitness(read('t', 10, { clock: { source: 'holdover', errorUs: 1, driftPpm: 0.1, holdoverS } }), { frame });
    expect(held(900).uses.absolutePhase).to.equal(true);
    expect(held(900).clockErrorUs).to.be.closeTo(90, 0.1);
    expect(held(1100).uses.absolutePhase).to.equal(false);
    expect(held(1100).reasons[0]?.code).to.equal('time-out-of-budget');
  });

  it('self-test, battery, calibration, stamp and age refuse the whole reading', () => {
    const refused = (r: Reading, settings = {}) => {
      const fit = fitness(r, { frame, ...settings });
      expect(fit.grade).to.equal('refused');
      expect(fit.uses).to.deep.equal({ absolutePhase: false, relative: false, magnitude: false });
      return fit.reasons[0]?.code;
    };
    const by = (instrument: object) => read('t', 10, { instrument: { id: 'P-1', ...instrument } });
    expect(refused(by({ selfTest: 'fail' }))).to.equal('self-test-failed');
    expect(refused(by({ batteryPct: 9 }))).to.equal('battery-low');
    expect(refused(by({ calibratedOn: '2025-05-03' }), { calibrationDays: 365 })).to.equal('calibration-out-of-date');
    expect(refused(by({}), { calibrationDays: 365 })).to.equal('calibration-unknown');
    expect(refused(read('t', 10, { atS: 6 }), { nowUs: NOON_US })).to.equal('stamp-in-future');
    expect(refused(read('t', 10), { nowUs: NOON_US + 61e6, maxAgeS: 60 })).to.equal('stale');
  });

  it('what is in order or not asked for is not held against it', () => {
    const by = (instrument: object) => read('t', 10, { instrument: { id: 'P-1', ...instrument } });
    expect(
      codes(by({ selfTest: 'not-run', batteryPct: 10, calibratedOn: '2025-05-04' }), { calibrationDays: 365 }),
    ).to.deep.equal([]);
    expect(codes(by({ calibratedOn: '2001-01-01' }))).to.deep.equal([]);
    expect(codes(read('t', 10, { atS: 4 }), { nowUs: NOON_US })).to.deep.equal([]);
    expect(codes(read('t', 10), { nowUs: NOON_US + 1e12 })).to.deep.equal([]);
  });

  it('an angle that does not say against what is no angle', () => {
    const fit = fitness(read('t', 10, { against: undefined, voltageV: 7200 }), { frame });
    expect(fit.uses).to.deep.equal({ absolutePhase: false, relative: false, magnitude: true });
    expect(fit.grade).to.equal('usable');
  });

  for (const coupling of ['test-point', 'air', 'unknown', undefined] as const) {
    it(`coupling ${coupling}: the voltage is unusable, the angle is not`, () => {
      const fit = fitness(read('t', 10, { voltageV: 300, coupling }), { frame, terminal });
      expect(fit.uses).to.deep.equal({ absolutePhase: true, relative: true, magnitude: false });
      expect(fit.reasons.map((r) => r.code)).to.deep.equal(['magnitude-unusable']);
    });
  }

  it('5 % over nominal is normal (ANSI C84.1 Range A upper limit, from memory)', () => {
    expect(codes(read('t', 10, { voltageV: 1.05 * 7200, voltageIs: 'phase-to-earth' }), { terminal })).to.deep.equal(
      [],
    );
  });

  it('a voltage that does not fit the conductor takes the absolute phase and the magnitude', () => {
    for (const voltageV of [0.7 * 7200, 1.3 * 7200]) {
      const fit = fitness(read('t', 10, { voltageV, voltageIs: 'phase-to-earth' }), { frame, terminal });
      expect(fit.uses).to.deep.equal({ absolutePhase: false, relative: true, magnitude: false });
      expect(fit.reasons[0]?.code).to.equal('voltage-implausible');
    }
  });

  it('an angle on a conductor without voltage belongs to nothing, and nobody calls the conductor anything', () => {
    const fit = fitness(read('t', 10, { voltageV: 100, voltageIs: 'phase-to-earth' }), { frame, terminal });
    expect(fit.uses).to.include({ absolutePhase: false, relative: false });
    expect(fit.reasons[0]?.code).to.equal('no-voltage-read');
    expect(fit.reasons[0]?.why)
      .to.match(/not a test for absence of voltage/)
      .and.not.match(/dead|de-energi|safe/i);
  });

  for (const coupling of ['unknown', undefined] as const) {
    it(`coupling ${coupling}: where it is known what the voltage is between, no voltage read is told all the same`, () => {
      const little = { voltageV: 0, coupling, voltageIs: 'phase-to-earth' } as const;
      const fit = fitness(read('t', 10, little), { frame, terminal });
      expect(fit.uses).to.deep.equal({ absolutePhase: false, relative: false, magnitude: false });
      expect(fit.reasons.map((r) => r.code)).to.deep.equal(['no-voltage-read']);
    });
  }

  for (const coupling of ['test-point', 'air'] as const) {
    it(`coupling ${coupling}: its ratio is not known, so a small number says nothing`, () => {
      const reading = read('t', 10, { voltageV: 3, coupling, voltageIs: 'phase-to-earth' });
      expect(codes(reading, { terminal })).to.deep.equal(['magnitude-unusable']);
    });
  }

  it('without saying how it was formed, a voltage may be that to earth or that between phases', () => {
    expect(codes(read('t', 10, { voltageV: 7200 }), { terminal })).to.deep.equal([]);
    expect(codes(read('t', 10, { voltageV: 12470 }), { terminal })).to.deep.equal([]);
    expect(codes(read('t', 10, { voltageV: 12470, voltageIs: 'phase-to-earth' }), { terminal })).to.deep.equal([
      'voltage-implausible',
    ]);
  });

  it('every reason has a code, a sentence and what would settle it', () => {
    const worst = read('t', 10, {
      against: undefined,
      clock: undefined,
      voltageV: 1,
      atS: 100,
      instrument: { id: 'P', selfTest: 'fail', batteryPct: 1 },
    });
    const { reasons } = fitness(worst, { frame, terminal, nowUs: NOON_US, calibrationDays: 1 });
    expect(reasons.length).to.equal(7);
    for (const r of reasons) {
      expect(r.code).to.match(/^[a-z0-9-]+$/);
      expect(r.why).to.be.a('string').and.not.equal('');
      expect(r.settle).to.be.a('string').and.not.equal('');
    }
  });
});
