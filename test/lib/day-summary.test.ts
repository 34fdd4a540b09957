import { expect } from 'chai';
import fc from 'fast-check';
import { circularMean, resultantLength, separation } from '../../lib/angle';
import { mergeDays, summariseDays } from '../../lib/day-summary';
import { formatInstant, parseInstant } from '../../lib/instant';
import type { Reading } from '../../lib/records';

const T0 = parseInstant('2026-05-04T00:00:00Z');
const reading = (s: number, more: Partial<Reading> = {}): Reading => ({
  kind: 'reading',
  id: `r${s}`,
  terminal: 't',
  takenAt: formatInstant(T0 + s * 1e6),
  angleDeg: 350,
  against: 'ref',
  ...more,
});

describe('summary of a day', () => {
  it('has count, bounds, circular mean, resultant length, mean voltage and instruments', () => {
    const [one, ...rest] = summariseDays([
      reading(10, { voltageV: 100, instrument: { id: 'b' } }),
      reading(5, { angleDeg: 10, voltageV: 200, instrument: { id: 'a' } }),
      reading(20, { angleDeg: 0 }),
    ]);
    expect(rest).to.deep.equal([]);
    // By hand: the angles are -10, 10 and 0; their sum points to 0 and R = (1 + 2 cos 10 degrees) / 3.
    expect(one!.meanAngleDeg).to.be.closeTo(0, 1e-9);
    expect(one!.resultant).to.be.closeTo((1 + 2 * Math.cos(Math.PI / 18)) / 3, 1e-12);
    expect(one).to.deep.include({
      day: '2026-05-04',
      readings: 3,
      angles: 3,
      voltages: 2,
      meanVoltageV: 150,
      instruments: ['a', 'b'],
    });
    expect([one!.firstUs, one!.lastUs]).to.deep.equal([T0 + 5e6, T0 + 20e6]);
  });

  it('keeps days, references and readings without an angle apart, and the worst fitness', () => {
    const days = summariseDays([
      reading(0),
      reading(86_400),
      reading(1, { against: 'utc', clock: { source: 'unknown' } }),
      { kind: 'reading', id: 'v', terminal: 't', takenAt: formatInstant(T0), voltageV: 7 },
      reading(2, { instrument: { id: 'x', selfTest: 'fail' } }),
    ]);
    expect(days.map((d) => [d.day, d.against, d.readings, d.worstFitness])).to.deep.equal([
      ['2026-05-04', 'ref', 2, 'refused'],
      ['2026-05-05', 'ref', 1, days[1]!.worstFitness],
      ['2026-05-04', 'utc', 1, days[2]!.worstFitness],
      ['2026-05-04', '', 1, days[3]!.worstFitness],
    ]);
    expect(days[3]).to.include({ angles: 0, meanAngleDeg: null, resultant: null });
  });

  it('has no mean direction when the angles cancel', () => {
    const [one] = summariseDays([reading(0, { angleDeg: 0 }), reading(1, { angleDeg: 180 })]);
    expect(one!.meanAngleDeg).to.equal(null);
    expect(one!.resultant).to.be.closeTo(0, 1e-12);
  });

  it('of two parts is what the angles of the whole say (property, 300 cases)', () => {
    const angle = fc.double({ min: -180, max: 179, noNaN: true });
    fc.assert(
      fc.property(fc.array(angle, { minLength: 1, maxLength: 30 }), fc.nat(30), (anglesDeg, cut) => {
        const all = anglesDeg.map((angleDeg, i) => reading(i, { angleDeg, voltageV: i }));
        const r = resultantLength(anglesDeg);
        const parts = [all.slice(0, cut), all.slice(cut)].flatMap(summariseDays);
        const merged = parts.reduce((a, b) => mergeDays(a, b));
        expect(merged.readings).to.equal(all.length);
        expect(merged.resultant).to.be.closeTo(r, 1e-9);
        if (r > 1e-3) expect(separation(merged.meanAngleDeg!, circularMean(anglesDeg))).to.be.lessThan(1e-6);
        expect(merged.meanVoltageV).to.be.closeTo((all.length - 1) / 2, 1e-9);
      }),
      { seed: 21, numRuns: 300 },
    );
  });
});
