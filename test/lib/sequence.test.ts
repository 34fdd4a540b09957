import { expect } from 'chai';
import fc from 'fast-check';
import { cyclicEquivalents, leadChange, leadsToExchange, sequenceOfLabels } from '../../lib/lead-order';
import { rotation } from '../../lib/sequence';
import { chance } from '../outside/rates/chance';

const SEED = { seed: 20261125, numRuns: 200 };
const angle = fc.double({ min: -720, max: 720, noNaN: true });
const small = fc.double({ min: -4, max: 4, noNaN: true });
const ORDERS = ['ABC', 'BCA', 'CAB', 'ACB', 'CBA', 'BAC'];
const DEG: Record<string, number> = { A: 0, B: -120, C: 120 };
const code = (angles: number[], options = {}) => rotation(angles, options).reasons[0]?.code ?? 'decided';

describe('rotation of three conductors', () => {
  it('does not change when all three turn together, or change by whole turns', () =>
    fc.assert(
      fc.property(angle, small, small, fc.integer({ min: -2, max: 2 }), (turn, a, b, k) => {
        expect(rotation([turn, turn - 120 + a, turn + 120 + b + 360 * k]).sequence).to.equal('ABC');
      }),
      SEED,
    ));

  it('does not change when every conductor moves on by one place, and is reversed by exchanging any two', () =>
    fc.assert(
      fc.property(angle, small, small, (turn, a, b) => {
        const [x, y, z] = [turn, turn - 120 + a, turn + 120 + b];
        expect(rotation([y, z, x]).sequence).to.equal('ABC');
        for (const swapped of [
          [y, x, z],
          [z, y, x],
          [x, z, y],
        ])
          expect(rotation(swapped).sequence).to.equal('ACB');
      }),
      SEED,
    ));

  it('agrees with the labels in all six orders, and the other way round where the instrument shows lag as positive', () => {
    for (const order of ORDERS) {
      const angles = [...order].map((p) => DEG[p]!);
      expect(rotation(angles).sequence, order).to.equal(sequenceOfLabels(order));
      expect(
        rotation(
          angles.map((a) => -a),
          { sense: 'lag' },
        ).sequence,
        order,
      ).to.equal(sequenceOfLabels(order));
    }
  });

  it('says why it is not decided', () => {
    expect(code([0, 0, 0])).to.equal('two-on-one-phase');
    expect(code([0, 3, 120])).to.equal('two-on-one-phase');
    expect(code([0, 60, 120])).to.equal('one-reversed');
    expect(code([0, -120, -60])).to.equal('one-reversed');
    expect(code([0, 180, 90])).to.equal('half-turn-apart');
    expect(code([0, -90, 120])).to.equal('not-three-phase');
    expect(code([0, -120, 120], { sdDeg: 20 })).to.equal('angles-too-uncertain');
    for (const few of [[], [0], [0, -120], [0, -120, 120, 0], [0, -120, Number.NaN]]) {
      expect(code(few)).to.equal('three-angles-needed');
    }
  });

  it('is frozen, has a finite probability, and an undecided one says what would settle it', () => {
    for (const angles of [
      [0, -120, 120],
      [0, 0, 0],
      [0, 60, 120],
      [0, 120],
      [1, 2, Number.NaN],
    ]) {
      const found = rotation(angles);
      expect(Object.isFrozen(found) && Object.isFrozen(found.reasons) && Object.isFrozen(found.residualsDeg)).to.equal(
        true,
      );
      expect(found.probability).to.be.within(0, 1);
      if (found.kind === 'undecided') {
        expect(found).to.include({ sequence: null, turns: null });
        expect(found.reasons[0]).to.have.property('settle').that.is.a('string');
      }
    }
  });

  for (const sdDeg of [2, 5, 10, 14]) {
    it(`is never wrong in 20 000 noisy sites at ${sdDeg} degrees, and refuses about one sound site in a thousand`, () => {
      const dice = chance(7);
      let wrong = 0;
      let undecided = 0;
      for (let i = 0; i < 20_000; i++) {
        const turn = 360 * dice.uniform();
        const noisy = [0, -120, 120].map((a) => turn + a + sdDeg * dice.normal());
        const { sequence } = rotation(noisy, { sdDeg, unbalanceSdDeg: 0 });
        if (sequence === null) undecided++;
        else if (sequence !== 'ABC') wrong++;
      }
      expect(wrong).to.equal(0);
      // One in a thousand, by the chi-square gate; 20 are expected, 45 are five standard deviations more.
      expect(undecided).to.be.within(1, 45);
    });
  }
});

describe('the order of leads', () => {
  it('cyclic equivalents have one rotation, and the other three orders the other', () => {
    for (const order of ORDERS) {
      const alike = cyclicEquivalents(order).map((o) => o.join(''));
      for (const other of ORDERS) {
        expect(sequenceOfLabels(other) === sequenceOfLabels(order), `${order} ${other}`).to.equal(
          alike.includes(other),
        );
      }
    }
  });

  it('the change that is told turns the order found into the order wanted', () => {
    for (const found of ORDERS) {
      for (const wanted of ORDERS) {
        const change = leadChange(found, wanted);
        const moved = (by: number) => [0, 1, 2].map((k) => found[(k - by + 3) % 3]).join('');
        if (change.kind === 'none') expect(found).to.equal(wanted);
        else if (change.kind === 'roll') expect(moved(change.by)).to.equal(wanted);
        else if (change.kind === 'exchange') {
          expect(change.exchanges.filter((e) => e.isExact).map((e) => e.gives.join(''))).to.deep.equal([wanted]);
          expect(change.exchanges.every((e) => sequenceOfLabels(e.gives) === sequenceOfLabels(wanted))).to.equal(true);
        } else expect.fail('undecided');
        expect(change.kind === 'exchange').to.equal(sequenceOfLabels(found) !== sequenceOfLabels(wanted));
      }
    }
  });

  it('needs the same three labels, each once', () => {
    for (const [found, wanted] of [
      ['ABC', 'ABD'],
      ['AAB', 'ABA'],
      ['AB', 'BA'],
      ['', ''],
    ] as const) {
      const change = leadChange(found, wanted);
      expect(change.kind === 'undecided' && change.reasons[0]!.code).to.equal('different-leads');
    }
    expect([sequenceOfLabels('AAB'), sequenceOfLabels(['A', 'B']), sequenceOfLabels('ABX')]).to.deep.equal([
      undefined,
      undefined,
      undefined,
    ]);
  });

  it('no exchange is needed where the sequence is the wanted one', () => {
    expect(leadsToExchange('ACB', 'ACB')).to.deep.equal([]);
    expect(leadsToExchange('ACB', 'ABC')).to.have.length(3);
  });
});
