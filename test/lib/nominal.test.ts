import { expect } from 'chai';
import { nominalSystem } from '../../lib/nominal';
import { NOMINAL_SYSTEMS, type VoltageStandard } from '../../lib/nominal-systems';

const STANDARDS: VoltageStandard[] = ['ANSI C84.1', 'IEC 60038'];

function told(volts: number, standard: VoltageStandard = 'ANSI C84.1', options = {}) {
  const found = nominalSystem(volts, standard, options);
  if (!found.matched) throw new Error(found.reasons[0]!.why);
  return found;
}
const refusal = (volts: number, options = {}) => {
  const found = nominalSystem(volts, 'ANSI C84.1', options);
  return found.matched ? found.system.name : found.reasons[0]!;
};

describe('nominal voltage systems', () => {
  it('every nominal voltage is found at itself, with no deviation', () => {
    for (const standard of STANDARDS) {
      for (const s of NOMINAL_SYSTEMS.filter((n) => n.standard === standard)) {
        const found = told(s.phaseToPhaseV, standard, { voltageIs: 'phase-to-phase' });
        expect(found.system.phaseToPhaseV, s.name).to.equal(s.phaseToPhaseV);
        expect(found.deviationPct).to.equal(0);
        expect([found.system.name, ...found.others.map((o) => o.replace(/ phase-to-\w+$/, ''))]).to.include(s.name);
      }
    }
  });

  it('ranges lie within each other and around the nominal voltage', () => {
    for (const s of NOMINAL_SYSTEMS) {
      const [outer, inner] = s.rangeB && s.rangeA ? [s.rangeB, s.rangeA] : [s.supply, s.supply];
      if (!outer || !inner) continue;
      expect(
        outer[0] <= inner[0] && inner[0] < s.phaseToPhaseV && s.phaseToPhaseV < inner[1] && inner[1] <= outer[1],
        s.name,
      ).to.equal(true);
    }
  });

  it('a neutral voltage is the line voltage over sqrt 3, or half of it, within rounding', () => {
    for (const s of NOMINAL_SYSTEMS) {
      if (s.phaseToNeutralV === null) continue;
      const ratio = s.phaseToPhaseV / s.phaseToNeutralV;
      expect(Math.min(Math.abs(ratio / Math.sqrt(3) - 1), Math.abs(ratio / 2 - 1)), s.name).to.be.below(0.005);
    }
  });

  it('limits to neutral do not trip over the rounding of the limits between phases: 114 to 126 V on 120 is range A (ANSI C84.1, from memory)', () => {
    const range = (v: number) => {
      const found = told(v, 'ANSI C84.1', { voltageIs: 'phase-to-neutral' });
      return `${found.nominalV} ${found.range}`;
    };
    expect([110, 114, 126, 127].map(range)).to.deep.equal(['120 B', '120 A', '120 A', '120 B']);
    expect(range(109)).to.equal('120 outside');
  });

  it('says how the voltage is formed when it is not told', () => {
    expect(told(7210)).to.include({ voltageIs: 'phase-to-neutral', nominalV: 7200 });
    expect(told(12500)).to.include({ voltageIs: 'phase-to-phase', nominalV: 12470 });
    expect(told(7210).others).to.include('6900 phase-to-phase');
    expect(told(1390)).to.include({ voltageIs: 'phase-to-earth' });
    expect(refusal(1390, { voltageIs: 'phase-to-neutral' })).to.have.property('code', 'no-nominal-voltage-near');
  });

  it('a portable reading 5 % off is normal, 6 % is not (common practice, no source)', () => {
    const off = (pct: number) =>
      told(120 * (1 + pct / 100), 'ANSI C84.1', { voltageIs: 'phase-to-neutral' }).withinPortableTolerance;
    expect([-6, -5, 0, 5, 6].map(off)).to.deep.equal([false, true, true, true, false]);
  });

  it('knows the supply range and the highest voltage of IEC 60038', () => {
    const at = (v: number, voltageIs: string) => told(v, 'IEC 60038', { voltageIs }).range;
    expect([207, 253].map((v) => at(v, 'phase-to-neutral'))).to.deep.equal(['supply', 'supply']);
    expect(told(765, 'IEC 60038', { voltageIs: 'phase-to-phase', withinPct: 15 }).range).to.equal('outside');
    expect([6500, 7250].map((v) => at(v, 'phase-to-phase'))).to.deep.equal(['not-stated', 'outside']);
  });

  it('next to nothing matches nothing, and says that it proves nothing', () => {
    for (const volts of [0, 0.4, 11]) {
      const reason = refusal(volts);
      expect(reason).to.have.property('code', 'no-voltage-read');
      expect(reason)
        .to.have.property('why')
        .that.matches(/proves nothing about the absence of voltage/);
      expect(JSON.stringify(reason)).not.to.match(/dead|safe|de-energi/i);
    }
  });

  it('between systems it names the nearest and how far it is', () => {
    const found = nominalSystem(1000, 'ANSI C84.1', { voltageIs: 'phase-to-phase' });
    expect(found.matched).to.equal(false);
    expect(!found.matched && found.nearest?.name).to.equal('600');
    expect(!found.matched && found.reasons[0]!.why).to.match(/66\.7 % from the nearest nominal voltage, 600 V/);
  });

  it('refuses what is no voltage', () => {
    for (const bad of [Number.NaN, -1, Number.POSITIVE_INFINITY]) {
      expect(refusal(bad)).to.have.property('code', 'voltage-not-a-number');
    }
  });
});
