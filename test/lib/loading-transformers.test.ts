import { expect } from 'chai';
import type { Solver } from '../../lib/loading/milp';
import { type LoadingDocument, makeLoading } from '../../lib/loading/model';
import { planAt, planMoves } from '../../lib/loading/plan';
import { planRecord } from '../../lib/loading/plan-record';
import { sectionLoading } from '../../lib/loading/section-loading';
import { windingLift } from '../../lib/loading/through-transformer';
import { problemsOf } from '../../lib/validate';
import { highsSolver } from '../../nodes/load-plan/highs-solver';
import { bestByHand, carried, unbalanceByHand } from '../kit/plan-by-hand';

const ABC = ['A', 'B', 'C'];

/** A main, a transformer, a section below it; loads on both sides of it. */
const below = (vectorGroup: string, over: Partial<LoadingDocument> = {}): LoadingDocument => ({
  id: 'F',
  source: 's',
  voltageV: 7200,
  sections: [
    { id: 'head', from: 's', to: 'a', phases: ABC },
    { id: 'low', from: 'b', to: 'c', phases: ABC },
  ],
  transformers: [{ id: 'T', from: 'a', to: 'b', phases: ABC, vectorGroup }],
  loads: [{ id: 'one', section: 'low', phases: ['A'], kW: 72 }],
  ...over,
});
const row = (document: LoadingDocument, section: string) =>
  sectionLoading(makeLoading(document)).find((r) => r.section === section)!;

const mixed = (vectorGroup: string): LoadingDocument =>
  below(vectorGroup, {
    loads: [
      { id: 'm1', section: 'head', phases: ['A'], kW: 40, kvar: 15, movable: true },
      { id: 'm2', section: 'head', phases: ['A'], kW: 25, movable: true, cost: 2 },
      { id: 'm3', section: 'head', phases: ['B', 'C'], kW: 30, kvar: 10, movable: true },
      { id: 'l1', section: 'low', phases: ['A'], kW: 50, kvar: 20, movable: true },
      { id: 'l2', section: 'low', phases: ['A'], kW: 35, movable: true },
      { id: 'l3', section: 'low', phases: ['B'], kW: 20, kvar: -5, movable: true },
      { id: 'l4', section: 'low', phases: ABC, kW: 30, threePhase: true, movable: true },
    ],
  });

describe('loads below a transformer', function () {
  this.timeout(240_000);
  let solver: Solver;
  before(async () => {
    solver = await highsSolver();
  });

  it('a single-phase load below Dyn stands on two phases above, with 1/sqrt 3 of the current in each (windings as drawn; textbook, from memory)', () => {
    const amperes = (group: string) => row(below(group), 'head').phases.map((p) => p.amperes);
    const [I, none] = [10 / Math.sqrt(3), 0];
    // Dyn11: the winding of a lies between A and B; Dyn1: between A and C.
    for (const [group, want] of [
      ['Dyn11', [I, I, none]],
      ['Dyn1', [I, none, I]],
      ['Dyn5', [I, I, none]],
      ['YNyn0', [10, none, none]],
      ['YNyn6', [10, none, none]],
      // Without a neutral above, the other two phases carry the return.
      ['Yyn0', [20 / 3, 10 / 3, 10 / 3]],
      ['Dzn0', [20 / 3, 10 / 3, 10 / 3]],
    ] as const) {
      amperes(group).forEach((a, k) => {
        expect(a, `${group} ${ABC[k]}`).to.be.closeTo(want[k]!, 1e-9);
      });
    }
  });

  it('power is kept, a balanced load stays balanced, and no current passes to a neutral above a delta', () => {
    for (const group of [
      'Dyn1',
      'Dyn5',
      'Dyn7',
      'Dyn11',
      'YNd1',
      'YNd11',
      'Dd0',
      'Dd6',
      'Dzn0',
      'Yzn5',
      'Yyn0',
      'YNyn4',
      'YNyn2',
      'YNa0',
    ]) {
      const head = row(mixed(group), 'head');
      const sum = (of: 'kW' | 'kvar') => head.phases.reduce((s, p) => s + p[of], 0);
      expect(sum('kW'), group).to.be.closeTo(230, 1e-9);
      expect(sum('kvar'), group).to.be.closeTo(40, 1e-9);
      const three = row(below(group, { loads: [{ id: 'x', section: 'low', phases: ABC, kW: 90, kvar: 30 }] }), 'head');
      for (const p of three.phases)
        expect([p.kW, p.kvar].map((x) => Math.round(1e9 * x) / 1e9)).to.deep.equal([30, 10]);
      const alone = row(below(group), 'head').neutral.magnitude;
      expect(alone, group).to.be.closeTo(/^YN(yn|a)/.test(group) ? 10 : 0, 1e-9);
    }
    expect(windingLift('YNyn0')).to.equal(undefined);
  });

  for (const group of ['Dyn1', 'Dyn11', 'YNd1', 'YNyn0']) {
    it(`${group}: what every section carries, and the best plans, as by hand`, async () => {
      const document = mixed(group);
      const loading = makeLoading(document);
      for (const { section, kW, neutralA } of carried(document, undefined, 0)) {
        const got = row(document, section);
        got.phases.forEach((p, k) => {
          expect(p.kW, `${section} ${p.phase}`).to.be.closeTo(kW[k]!, 1e-9);
        });
        expect(got.neutral.magnitude).to.be.closeTo(neutralA, 1e-9);
      }
      for (const options of [
        { aim: { kind: 'best', moves: 2 } },
        { aim: { kind: 'best', moves: 6 }, over: 'sum' },
        { aim: { kind: 'best', moves: 3 }, measure: 'neutral' },
        { aim: { kind: 'best', moves: 3 }, watch: ['head'] },
        { aim: { kind: 'limit', most: 20 }, watch: ['head'] },
        { aim: { kind: 'price', perCost: 4 }, over: 'sum' },
      ] as const) {
        const p = await planMoves(loading, { nowMs: () => performance.now(), timeS: 10, seed: 3, solver, ...options });
        const best = bestByHand(document, options);
        const what = `${group} ${JSON.stringify(options)}`;
        expect(p.before, what).to.be.closeTo(unbalanceByHand(document, options), 1e-6);
        expect(p.value, what).to.be.closeTo(best, 1e-6 * (1 + best));
        if (!('measure' in options)) expect([p.proven, p.bound! <= best + 1e-5], what).to.deep.equal([true, true]);
      }
    });
  }

  it('tells currents below at the voltage given for there', () => {
    const document = below('Dyn11', { voltageBelowV: { T: 240 } });
    expect(row(document, 'low').phases[0]!.amperes).to.be.closeTo(300, 1e-9);
    expect(row(document, 'head').phases[0]!.amperes).to.be.closeTo(10 / Math.sqrt(3), 1e-9);
    expect(() => makeLoading(below('Dyn11', { voltageBelowV: { X: 240 } }))).to.throw(
      /voltageBelowV: X is not in transformers/,
    );
  });

  it('says which phase a winding lacks, and which transformer is taken as in line', () => {
    const document = below('Dyn11', {
      sections: [
        { id: 'head', from: 's', to: 'a', phases: ['A', 'C'] },
        { id: 'low', from: 'b', to: 'c', phases: ['A'] },
      ],
      transformers: [{ id: 'T', from: 'a', to: 'b', phases: ['A'], vectorGroup: 'Dyn11' }],
    });
    expect(() => makeLoading(document)).to.throw(
      /transformer T: its winding draws on phase B, which the section above lacks \(it has A, C\)/,
    );
    expect(makeLoading(below('unknown')).assumedInLine).to.deep.equal(['T']);
  });

  it('a lateral with a transformer inside is rolled as by hand, and its loads below keep the labels of their windings', async () => {
    const document: LoadingDocument = {
      ...mixed('Dyn11'),
      sections: [
        { id: 'head', from: 's', to: 'h', phases: ABC },
        { id: 'lateral', from: 'h', to: 'a', phases: ABC },
        { id: 'low', from: 'b', to: 'c', phases: ABC },
      ],
      laterals: [{ section: 'lateral' }],
      loads: [
        { id: 'h1', section: 'head', phases: ['A'], kW: 60, movable: true },
        { id: 'l1', section: 'low', phases: ['A'], kW: 50, kvar: 20 },
        { id: 'l2', section: 'low', phases: ['B'], kW: 10 },
      ],
    };
    for (const measure of ['kW', 'neutral'] as const) {
      const options = { aim: { kind: 'best', moves: 2 }, watch: ['head'], measure } as const;
      const p = await planMoves(makeLoading(document), {
        nowMs: () => performance.now(),
        timeS: 5,
        seed: 3,
        solver,
        ...options,
      });
      expect(p.before).to.be.closeTo(unbalanceByHand(document, options), 1e-6);
      expect(p.after).to.be.closeTo(bestByHand(document, options), 1e-6);
    }
  });

  it('says at a move below a transformer whose phases are named', () => {
    const options = { aim: { kind: 'best', moves: 7 } } as const;
    const cautions = (group: string) => {
      const plan = planAt(makeLoading(mixed(group)), options, Int32Array.from([1, 0, 0, 1, 0, 0, 0]));
      const { moves } = planRecord(plan, { at: '2026-05-04T10:00:00.000000Z' });
      return moves.filter((m) => m.cautions.some((c) => /windings below transformer T/.test(c))).map((m) => m.id);
    };
    expect(cautions('Dyn11')).to.deep.equal(['l1']);
    expect(cautions('YNyn0')).to.deep.equal([]);
  });

  it('tells in the record of a plan which transformers were taken as in line', () => {
    const recordOf = (group: string) => {
      const options = { aim: { kind: 'best', moves: 1 } } as const;
      const plan = planAt(makeLoading(mixed(group)), options, new Int32Array(7));
      return planRecord(plan, { at: '2026-05-04T10:00:00.000000Z' });
    };
    expect(problemsOf('plan', recordOf('unknown'))).to.deep.equal([]);
    expect(recordOf('unknown').assumedInLine).to.deep.equal(['T']);
    expect(recordOf('Dyn11')).not.to.have.property('assumedInLine');
  });
});
