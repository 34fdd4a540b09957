import { expect } from 'chai';
import { makeFrame, makeNetwork, problemsOf, siteRotation } from '../../lib';
import { at, BUSES, feeder13, readAt } from '../kit/feeder13';
import { csv } from '../outside/data';
import { read } from './readings';

const frame = makeFrame({ references: [{ id: 'SUB' }] });
const { terminals } = makeNetwork(feeder13());
const view = (site: string) => ({ site, viewing: 'left-to-right' });
const conductors = (bus: string, order = [1, 2, 3], over = {}) =>
  order.map((k) => ({ terminal: `${bus}/${k}`, readings: [readAt(`${bus}/${k}`, { atUs: at(k), over })] }));

describe('the rotation of a site', () => {
  const published = new Map(csv('ieee13_seqvoltages_opendss.csv').map((r) => [r.Bus!, r]));

  for (const bus of BUSES) {
    it(`${bus}: sequence components and V2/V1 as OpenDSS exports them (IEEE 13-node feeder, seqvoltages)`, () => {
      const row = published.get(bus)!;
      const found = siteRotation(view(bus), conductors(bus), frame, { terminals });
      expect(found.verdict).to.equal('decided');
      expect(found.components!.magnitudesMeasured).to.equal(true);
      const pairs = [
        [found.components!.positive.magnitude, Number(row.V1)],
        [found.components!.negative.magnitude, Number(row.V2)],
        [found.components!.zero.magnitude, Number(row.V0)],
        [found.unbalance!.negativeSequencePct, Number(row['%V2/V1'])],
        [found.unbalance!.lineVoltagePct, Number(row['%NEMA'])],
      ] as const;
      // The export has four significant figures; the angles of the solution four decimals. Worst seen: 3e-4.
      for (const [got, expected] of pairs) expect(Math.abs(got - expected) / expected).to.be.below(1e-3);
    });
  }

  it('seen in reversed order it is ACB, disagrees with the record, and is no more unbalanced than before', () => {
    const forward = siteRotation(view('671'), conductors('671'), frame, { terminals });
    const swapped = conductors('671').map((c, k) => ({
      ...c,
      readings: [readAt(c.terminal, { atUs: at(k), really: (['A', 'C', 'B'] as const)[k]! })],
    }));
    const found = siteRotation(view('671'), swapped, frame, { terminals });
    expect([forward.sequence, forward.turns, forward.agreesWithRecord]).to.deep.equal(['ABC', 'clockwise', true]);
    expect([found.sequence, found.turns, found.agreesWithRecord]).to.deep.equal(['ACB', 'counter-clockwise', false]);
    expect(found.unbalance!.negativeSequencePct).to.be.closeTo(forward.unbalance!.negativeSequencePct, 1e-9);
  });

  it('is a record of the contract whose id does not hang on figures, only on what is said and on which readings', () => {
    const found = siteRotation(view('671'), conductors('671'), frame, { terminals });
    expect(problemsOf('rotation', found)).to.deep.equal([]);
    expect(found.caution).to.match(/not a test for absence of voltage/);
    expect(found.from).to.have.length(3);
    const looser = siteRotation(view('671'), conductors('671'), frame, {});
    expect(looser.id).to.equal(found.id);
    expect(looser.recordedSequence).to.equal(null);
  });

  it('gives unit components and no unbalance where the voltages were not read in contact', () => {
    const found = siteRotation(view('671'), conductors('671', [1, 2, 3], { coupling: 'test-point' }), frame, {
      terminals,
    });
    expect(found.components!.magnitudesMeasured).to.equal(false);
    expect(found.components!.positive.magnitude).to.be.closeTo(1, 0.01);
    expect(found.unbalance).to.equal(null);
  });

  it('does not mix voltages formed in different ways', () => {
    const mixed = conductors('671');
    mixed[0] = {
      ...mixed[0]!,
      readings: [readAt('671/1', { atUs: at(1), over: { voltageIs: 'phase-to-phase', voltageV: 4160 } })],
    };
    const found = siteRotation(view('671'), mixed, frame, { terminals });
    expect(found.unbalance).to.equal(null);
  });

  it('takes line voltages for what they are: 460, 467, 450 V give 1.96 % (NEMA MG-1 example) and 2.15 % V2/V1', () => {
    const lines = [460, 467, 450].map((voltageV, k) => ({
      terminal: `m/${k + 1}`,
      readings: [read(`m/${k + 1}`, -120 * k, { voltageV, voltageIs: 'phase-to-phase' })],
    }));
    const found = siteRotation(view('m'), lines, makeFrame({ references: [{ id: 'ref' }] }));
    expect(found.unbalance!.lineVoltagePct).to.be.closeTo(1.96, 0.005);
    expect(found.unbalance!.negativeSequencePct).to.be.closeTo(2.1465, 0.0005);
  });

  it('says why it is not proven, and gives neither turn nor components then', () => {
    const two = conductors('671');
    two[1] = { terminal: '671/2', readings: [readAt('671/2', { atUs: at(2), really: 'A' })] };
    const found = siteRotation(view('671'), two, frame, { terminals });
    expect([found.verdict, found.sequence, found.turns, found.components, found.unbalance]).to.deep.equal([
      'not-proven',
      null,
      null,
      null,
      null,
    ]);
    expect(found.reasons.map((r) => r.code)).to.deep.equal(['two-on-one-phase']);
    expect(found.reasons[0]!.settle).to.be.a('string');
  });

  it('one instrument shares its clock error with itself; several instruments add each its own', () => {
    const seen = (errorUs: number, names: readonly string[]) =>
      siteRotation(
        view('s'),
        [0, -120, 120].map((deg, k) => {
          const over = { clock: { errorUs, locked: true }, instrument: { id: names[k]! } };
          return { terminal: `s/${k + 1}`, readings: [read(`s/${k + 1}`, deg, over)] };
        }),
        makeFrame({ references: [{ id: 'ref' }] }),
      );
    // 3 ms at 60 Hz are 65 degrees: two clocks that wrong may turn one sequence into the other.
    expect(seen(3000, ['P', 'Q', 'R'])).to.include({ verdict: 'not-proven', sequence: null, turns: null });
    expect(seen(3000, ['P', 'Q', 'R']).reasons[0]).to.include({ code: 'angles-too-uncertain' });
    expect(seen(3000, ['P', 'Q', 'R']).probability).to.be.below(0.999);
    expect(seen(3000, ['P', 'P', 'P']).sequence).to.equal('ABC');
    expect(seen(10, ['P', 'Q', 'R']).sequence).to.equal('ABC');
  });

  it('wants three terminals with readings', () => {
    expect(() => siteRotation(view('671'), conductors('671').slice(1), frame)).to.throw(
      RangeError,
      /three different terminals/,
    );
  });
});
