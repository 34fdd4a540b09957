import { expect } from 'chai';
import { correlation, effectivePairs, lagOne, steps } from '../../lib/feeder/meter-correlation';
import { meterEvidence, meterLikelihood, meterLogs, type VoltageSeries } from '../../lib/feeder/meter-evidence';
import { sectionLabel, traceFeeder } from '../../lib/feeder/trace';
import { feederOf, trunk } from '../kit/feeder-trunk';
import { type Chance, chance } from '../outside/rates/chance';

/** Invented voltages: three phases that wander and share part of their steps; a meter adds what its own line and rounding do. */
function world(dice: Chance, count: number, shared = 0.5): VoltageSeries[] {
  const phases = [0, 1, 2].map(() => [240]);
  for (let i = 1; i < count; i++) {
    const common = dice.normal();
    for (const p of phases)
      p.push(p[i - 1]! * 0.9 + 24 + Math.sqrt(shared) * common + Math.sqrt(1 - shared) * dice.normal());
  }
  return phases;
}
const meterOn = (phase: VoltageSeries, dice: Chance, noise: number): VoltageSeries =>
  phase.map((v) => Math.round(2 * (v! + noise * dice.normal())) / 2);

describe('meter voltages as evidence', () => {
  it("correlates as Pearson did: Anscombe's first set gives .816 (F. J. Anscombe, 1973; figures from memory)", () => {
    const x = [10, 8, 13, 9, 11, 14, 6, 4, 12, 7, 5];
    const y = [8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68];
    expect(correlation(x, y).r).to.be.closeTo(0.816, 0.0005);
    expect(correlation([...x, Number.NaN], [...y, 3])).to.deep.equal(correlation(x, y));
    expect(correlation([1, 1, 1], [1, 2, 3]).r).to.equal(0);
  });

  it('leaves out steps to and from what is missing', () => {
    expect([...steps([1, 3, null, 4, 5])]).to.deep.equal([2, Number.NaN, Number.NaN, 1]);
    expect(effectivePairs(48, lagOne(steps([1, 2, 1, 2, 1])), 0)).to.equal(48);
  });

  for (const { what, count, noise } of [
    { what: 'a day of half hours, little noise', count: 48, noise: 0.3 },
    { what: 'thirty days of hours, as much noise as half a step', count: 720, noise: 0.5 },
  ]) {
    it(`${what}: nearly always right, and never wrong where it says .95`, () => {
      const dice = chance(91);
      let [right, sure, sureWrong] = [0, 0, 0];
      const trials = 300;
      for (let i = 0; i < trials; i++) {
        const phases = world(dice, count);
        const truth = dice.below(3);
        const likely = meterLikelihood(meterLogs(meterOn(phases[truth]!, dice, noise), phases) as Float64Array);
        const best = likely.indexOf(Math.max(...likely));
        right += best === truth ? 1 : 0;
        if (likely[best]! < 0.95) continue;
        sure++;
        sureWrong += best === truth ? 0 : 1;
      }
      console.log(`      right ${right} of ${trials}; at .95: ${sure}, wrong ${sureWrong}`);
      expect(right / trials).to.be.above(0.95);
      expect(sureWrong).to.equal(0);
    });
  }

  it('says why a meter says nothing', () => {
    const dice = chance(92);
    const phases = world(dice, 60);
    expect(meterLogs(phases[0]!.slice(0, 20), phases)).to.match(/^19 steps in common/);
    expect(
      meterLogs(
        phases[0]!.map(() => 240),
        phases,
      ),
    ).to.match(/^it moves with none/);
    const feeder = feederOf(trunk());
    const [A, B, C] = phases as [VoltageSeries, VoltageSeries, VoltageSeries];
    const batch = { id: 'meters', until: '2026-05-04T10:00:00Z', phases: { A, B, C }, meters: { nowhere: A } };
    expect(meterEvidence(feeder, batch).passedOver[0]!.why).to.equal('it is at no terminal of the feeder');
    expect(() => meterEvidence(feeder, { ...batch, phases: { A, B } })).to.throw(RangeError, /no series of phase C/);
    const turned = feederOf({
      ...trunk(),
      sections: trunk().sections.slice(1),
      transformers: [{ id: 'm1', from: 'n0', to: 'n1', phases: ['A', 'B', 'C'], vectorGroup: 'Dyn11' }],
    });
    expect(meterEvidence(turned, { ...batch, meters: { t9A: A } }).passedOver[0]!.why).to.match(/turns the angle/);
  });

  it('points a trace to a crossing when several meters below it agree; one alone settles nothing', () => {
    const dice = chance(93);
    const phases = world(dice, 720);
    const [A, B, C] = phases as [VoltageSeries, VoltageSeries, VoltageSeries];
    const swapped: Record<string, VoltageSeries> = { A: B, B: A, C };
    const at = (terminals: readonly string[], of: Record<string, VoltageSeries>) =>
      Object.fromEntries(terminals.map((t) => [t, meterOn(of[t.slice(-1)]!, dice, 0.5)]));
    const feeder = feederOf(trunk());
    const labelWith = (meters: Record<string, VoltageSeries>) => {
      const { evidence } = meterEvidence(feeder, {
        id: 'meters',
        until: '2026-05-04T10:00:00Z',
        phases: { A, B, C },
        meters,
      });
      return sectionLabel(traceFeeder(feeder, evidence), feeder.indexOf.get('m12')!);
    };
    expect(labelWith(at(['t9A'], swapped)).phases).to.deep.equal(['A', 'B', 'C']);
    const below = labelWith({
      ...at(['t3A', 't6B'], { A, B, C }),
      ...at(['t9A', 't9B', 't10A', 't10B', 't12A', 't12B', 't12C'], swapped),
    });
    expect(below.phases).to.deep.equal(['B', 'A', 'C']);
    expect(below.probability).to.be.above(0.95);
  });
});
