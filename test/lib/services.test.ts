import { expect } from 'chai';
import fc from 'fast-check';
import { minus, phasor } from '../../lib/phasor';
import { ARRANGEMENTS, SERVICE_TYPES } from '../../lib/service-types';
import { type ServiceReadings, serviceType } from '../../lib/services';

const SEED = { seed: 20261125, numRuns: 300 };
const legs = (...volts: number[]) => volts.map((voltageV) => ({ voltageV }));
const at = (...pairs: [number, number][]) => pairs.map(([voltageV, angleDeg]) => ({ voltageV, angleDeg }));

function told(readings: ServiceReadings): string {
  const found = serviceType(readings);
  return found.decided ? found.service.name : found.reasons[0]!.code;
}

const noise = fc.double({ min: -0.015, max: 0.015, noNaN: true });
const shift = fc.double({ min: -4, max: 4, noNaN: true });
const proper = ARRANGEMENTS.filter((a) => a.service !== null);

describe('kinds of service', () => {
  it('an arrangement measured with 1.5 % and 4 degrees of noise, 2 % off nominal, turned and in any sequence, is what it is', () =>
    fc.assert(
      fc.property(
        fc.constantFrom(...proper),
        fc.array(noise, { minLength: 6, maxLength: 6 }),
        fc.array(shift, { minLength: 3, maxLength: 3 }),
        fc.double({ min: 0.98, max: 1.02, noNaN: true }),
        fc.double({ min: -180, max: 180, noNaN: true }),
        fc.constantFrom(1, -1),
        (a, off, turned, level, turn, sense) => {
          const measured = a.legs.map((l, i) => ({
            voltageV: l.magnitude * level * (1 + off[i]!),
            angleDeg: sense * l.angleDeg + turn + turned[i]!,
          }));
          const pairs =
            a.legs.length === 2
              ? [[0, 1]]
              : [
                  [0, 1],
                  [1, 2],
                  [2, 0],
                ];
          const lines = pairs.map(([i, j], k) => ({
            voltageV: minus(a.legs[i!]!, a.legs[j!]!).magnitude * level * (1 + off[3 + k]!),
          }));
          const everything = serviceType({ legs: measured, lines });
          expect(everything.decided && everything.service.name).to.equal(a.service!.name);
          expect(everything.decided && everything.highLeg).to.equal(a.highLeg);
          // Either kind of evidence is enough by itself, and magnitudes to neutral alone are not, but for the high leg.
          expect(told({ legs: measured })).to.equal(a.service!.name);
          expect(told({ legs: legs(...measured.map((m) => m.voltageV)), lines })).to.equal(a.service!.name);
        },
      ),
      SEED,
    ));

  it('between two nominal levels it does not choose', () => {
    // 376 V is 6 % under 400 and 8 % over 347.
    expect(told({ legs: at([376, 0], [376, -120], [376, 120]) })).to.equal('several-services-fit');
  });

  it('magnitudes to neutral alone do not decide: legs that share a phase look the same', () => {
    expect(told({ legs: legs(120, 120, 120) })).to.equal('legs-may-share-a-phase');
    expect(told({ legs: legs(120, 120) })).to.equal('legs-may-share-a-phase');
    const found = serviceType({ legs: legs(120, 120) });
    expect(!found.decided && found.candidates).to.have.members(['two legs of 208Y/120', '120/240 single-phase']);
  });

  it('the high leg shows by itself, and which it is', () => {
    const found = serviceType({ legs: legs(121, 209, 120) });
    expect(found.decided && [found.service.kind, found.highLeg]).to.deep.equal(['high-leg-delta', 1]);
  });

  it('legs that do share a phase are told', () => {
    expect(told({ legs: legs(120, 121), lines: legs(1.5) })).to.equal('legs-share-a-phase');
    expect(told({ legs: at([120, 10], [120, 12], [120, 131]) })).to.equal('legs-share-a-phase');
    expect(told({ legs: legs(277, 278, 276), lines: legs(479, 2, 480) })).to.equal('legs-share-a-phase');
  });

  it('line voltages alone need to know whether there is a neutral', () => {
    const lines = legs(481, 479, 480);
    expect(told({ lines })).to.equal('neutral-not-stated');
    expect(told({ lines, neutral: true })).to.equal('480Y/277');
    expect(told({ lines, neutral: false })).to.equal('480 three-wire');
    expect(told({ lines: legs(240, 241, 239), neutral: true })).to.equal('240/120 high-leg delta');
    expect(told({ lines: legs(690, 691, 689) })).to.equal('400/690');
  });

  it('between 208 and 240 line voltages alone do not decide', () => {
    const found = serviceType({ lines: legs(224, 224, 224), neutral: true });
    expect(!found.decided && found.candidates).to.have.members(['208Y/120', '240/120 high-leg delta']);
  });

  it('says what it cannot tell apart even when it is decided', () => {
    const codes = (r: ServiceReadings) => serviceType(r).reasons.map((x) => x.code);
    const wye = { legs: legs(277, 277, 277), lines: legs(480, 480, 480) };
    expect(codes(wye)).to.deep.equal(['neutral-not-proven']);
    expect(codes({ ...wye, neutral: true })).to.deep.equal([]);
    expect(codes({ lines: legs(480, 480, 480), neutral: false })).to.deep.equal(['open-or-closed-delta']);
  });

  const REFUSED: [what: string, readings: ServiceReadings, code: string][] = [
    ['nothing', {}, 'wrong-number-of-readings'],
    ['one leg', { legs: legs(120) }, 'wrong-number-of-readings'],
    ['four legs', { legs: legs(120, 120, 120, 120) }, 'wrong-number-of-readings'],
    ['two voltages between two legs', { legs: legs(120, 120), lines: legs(240, 240) }, 'wrong-number-of-readings'],
    ['two line voltages alone', { lines: legs(480, 480) }, 'wrong-number-of-readings'],
    ['a leg without voltage', { legs: legs(120, 0.4, 120), lines: legs(120, 120, 240) }, 'no-voltage-read'],
    ['no voltage at all', { lines: legs(0, 0, 0) }, 'no-voltage-read'],
    ['not a number', { legs: legs(120, Number.NaN) }, 'voltage-not-a-number'],
    ['negative', { legs: legs(120, -120) }, 'voltage-not-a-number'],
    ['an endless angle', { legs: at([120, 0], [120, Number.POSITIVE_INFINITY]) }, 'voltage-not-a-number'],
    ['legs to a neutral that is not there', { legs: legs(120, 120), neutral: false }, 'legs-without-neutral'],
    ['a medium voltage', { legs: at([7200, 0], [7200, -120], [7200, 120]) }, 'no-service-fits'],
    ['angles a right angle apart', { legs: at([120, 0], [120, 90]) }, 'no-service-fits'],
    [
      'angles and lines that contradict each other',
      { legs: at([120, 0], [120, 120]), lines: legs(240) },
      'no-service-fits',
    ],
  ];
  for (const [what, readings, code] of REFUSED) {
    it(`${what}: not decided (${code}), and what would settle it`, () => {
      const found = serviceType(readings);
      expect(found.decided).to.equal(false);
      expect(found.reasons[0]).to.include({ code }).and.to.have.property('settle').that.is.a('string');
      expect(JSON.stringify(found)).not.to.match(/dead|safe|de-energi/i);
    });
  }

  it('every type is frozen and named once', () => {
    expect(new Set(SERVICE_TYPES.map((s) => s.name)).size).to.equal(SERVICE_TYPES.length);
    expect(SERVICE_TYPES.every(Object.isFrozen)).to.equal(true);
    expect(phasor(1, 0)).to.be.frozen;
  });
});
