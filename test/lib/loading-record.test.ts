import { expect } from 'chai';
import { problemsOf } from '../../lib';
import { parseCsv } from '../../lib/csv';
import { applied } from '../../lib/loading/applied';
import { followUp } from '../../lib/loading/follow-up';
import { withIdentifications } from '../../lib/loading/identified';
import { lossesKW } from '../../lib/loading/losses';
import { type LoadingDocument, makeLoading } from '../../lib/loading/model';
import { phaseForNewLoad } from '../../lib/loading/new-load';
import { planMoves } from '../../lib/loading/plan';
import { planRecord } from '../../lib/loading/plan-record';
import { sectionLoading } from '../../lib/loading/section-loading';
import { unitMoves } from '../../lib/loading/work-list';
import { workListCsv } from '../../lib/loading/work-list-csv';
import type { Identification } from '../../lib/records';
import { ieee123AtHead, randomFeeder } from '../kit/feeder-loads';

const clock = { nowMs: () => performance.now(), timeS: 0.3, seed: 4 };
const AT = '2026-05-04T10:00:00.000000Z';
const LATER = '2026-05-05T10:00:00.000000Z';

const P = ['A', 'B', 'C'];
/** Figures in the comments follow from Ohm's law and the law of cosines by hand. */
const SMALL: LoadingDocument = {
  id: 'small',
  source: 's',
  voltageV: 1000,
  sections: [
    { id: 'head', from: 's', to: 'a', phases: P },
    { id: 'far', from: 'a', to: 'b', phases: ['A', 'B'] },
  ],
  resistanceOhm: { head: 0.5 },
  loads: [
    { id: 'l1', section: 'far', phases: ['A'], kW: 10, movable: true, terminals: ['small/T1'] },
    { id: 'l2', section: 'far', phases: ['B'], kW: 15 },
    { id: 'l3', section: 'head', phases: ['C'], amperes: 20 },
    { id: 'l4', section: 'far', phases: [], kW: 7, kvar: 2 },
  ],
};

const identified = (terminal: string, phase: string | null, at = LATER): Identification =>
  ({
    kind: 'identification',
    id: `pi-${terminal}-${phase}-${at}`,
    at,
    from: [],
    terminal,
    verdict: phase === null ? 'not-proven' : 'confirmed',
    phase,
    probability: 0.9995,
    connection: 'phase-neutral',
  }) as unknown as Identification;

describe('the load of sections', () => {
  it('adds up by phase; the neutral current is that of 10, 15, 20 A (a public calculator page prints 8.66)', () => {
    const [, head, far] = sectionLoading(makeLoading(SMALL));
    expect(head!.phases.map((p) => Math.round(p.amperes * 1e6) / 1e6)).to.deep.equal([10, 15, 20]);
    expect(head!.neutral.magnitude).to.be.closeTo(8.66, 0.005);
    expect(head!.unbalancePct.amperes).to.be.closeTo(33.33, 0.005);
    expect([far!.unbalancePct.kW, far!.phases[2]!.kW]).to.deep.equal([null, 0]);
  });

  it('shows load of unknown phase as such, and in no phase', () => {
    for (const row of sectionLoading(makeLoading(SMALL)))
      expect(row.undecided).to.deep.equal({ kW: 7, kvar: 2, loads: 1 });
  });

  it('a load between two phases draws S / (sqrt 3 V) from both and nothing from the neutral', () => {
    const loading = makeLoading({
      ...SMALL,
      loads: [{ id: 'd', section: 'far', phases: ['B', 'A'], kW: 30, kvar: 40 }],
    });
    const far = sectionLoading(loading)[2]!;
    expect(far.phases[0]!.amperes).to.be.closeTo(50_000 / (Math.sqrt(3) * 1000), 1e-9);
    expect(far.phases[1]!.amperes).to.be.closeTo(50_000 / (Math.sqrt(3) * 1000), 1e-9);
    expect(far.neutral.magnitude).to.be.lessThan(1e-9);
    expect(far.phases[0]!.kW + far.phases[1]!.kW).to.be.closeTo(30, 1e-9);
  });

  it('IEEE 123: the sums that the published list has: 3490 kW, 1920 kvar', () => {
    const loading = makeLoading({ ...ieee123AtHead(), betweenPhases: 'as-drawn' });
    const { phases } = sectionLoading(loading)[1]!;
    expect(phases.reduce((s, p) => s + p.kW, 0)).to.be.closeTo(3490, 1e-9);
    expect(phases.reduce((s, p) => s + p.kvar, 0)).to.be.closeTo(1920, 1e-9);
  });

  it('losses are R (IA^2 + IB^2 + IC^2 + IN^2): 0.5 x (100 + 225 + 400 + 75) W', () => {
    expect(lossesKW(makeLoading(SMALL))[0]).to.be.closeTo(0.4, 1e-9);
  });

  it('says what is wrong, where, and what would be right', () => {
    const wrong: LoadingDocument = {
      ...SMALL,
      voltageV: 0,
      laterals: [{ section: 'far' }],
      loads: [
        { id: 'x', section: 'far', phases: ['C'], kW: 1 },
        { id: 'x', section: 'gone', phases: ['A'], kW: 1 },
        { id: 'y', section: 'head', phases: ['R'] },
        { id: 'z', section: 'far', phases: ['A'], kW: [1, 2], movable: true, cost: 0 },
      ],
    };
    expect(() => makeLoading(wrong)).to.throw(RangeError);
    try {
      makeLoading(wrong);
    } catch (e) {
      expect((e as Error).message.split('\n').slice(1)).to.deep.equal([
        'voltageV is 0; it must be the nominal voltage phase to neutral, volts, above 0',
        'load x: phase C is not present in section far',
        'load x: the id is used twice',
        'load x: section gone is not in sections',
        'load y: phase R is unknown; right would be A, B, C',
        'load y: neither kW nor amperes is given; give one',
        'load z: kW has 2 figures; right would be 1, one for each snapshot',
        'load z: cost is 0; it must be above 0',
        'load z: lies inside the lateral far; only the lateral can move',
      ]);
    }
  });
});

describe('a plan as a record', () => {
  it('fits its schema, and its figures are those of the feeder with the moves made', async () => {
    const loading = makeLoading(randomFeeder(40, 4, 9, 2));
    const plan = await planMoves(loading, { ...clock, aim: { kind: 'best', moves: 8 } });
    const record = planRecord(plan, { at: AT });
    expect(problemsOf('plan', record)).to.deep.equal([]);
    expect(record.moves.map((m) => m.order)).to.deep.equal(record.moves.map((_, i) => i + 1));
    const rows = sectionLoading(applied(loading, unitMoves(plan))).filter((r) => r.section !== 'n0');
    const worst = Math.max(...rows.map((r) => r.unbalancePct.kW!));
    expect(record.after).to.be.closeTo(worst, 1e-5);
    expect(record.moves.at(-1)!.unbalance).to.equal(record.after);
    expect(record.caution).to.match(/permits nothing/);
    expect(JSON.stringify(record)).not.to.match(/\b(safe|de-energi[sz]ed|close the switch)\b/i);
  });

  it('says which section keeps a plan for the worst from moving anything', async () => {
    // far carries one phase alone: 200 % on whichever phase its load is; the head could be made better.
    const document: LoadingDocument = {
      ...SMALL,
      sections: SMALL.sections.map((s) => ({ ...s, phases: P })),
      loads: [
        { id: 'far', section: 'far', phases: ['A'], kW: 5, movable: true },
        { id: 'near', section: 'head', phases: ['A'], kW: 50, movable: true },
        { id: 'fixed', section: 'head', phases: ['A', 'B', 'C'], kW: 60 },
      ],
    };
    const record = async (over: object) => {
      const options = { ...clock, aim: { kind: 'best', moves: 2 } as const, ...over };
      return planRecord(await planMoves(makeLoading(document), options), { at: AT });
    };
    const stuck = await record({});
    expect(problemsOf('plan', stuck)).to.deep.equal([]);
    expect([stuck.before, stuck.moves.length, stuck.stuckAt]).to.deep.equal([200, 0, ['far']]);
    expect((await record({ watch: ['head'] })).stuckAt).to.equal(undefined);
    expect((await record({ over: 'sum' })).stuckAt).to.equal(undefined);
    expect((await record({ aim: { kind: 'best', moves: 0 } })).stuckAt).to.equal(undefined);
  });

  it('the same plan has the same id', async () => {
    const loading = makeLoading(SMALL);
    const make = async () =>
      planRecord(await planMoves(loading, { ...clock, aim: { kind: 'best', moves: 1 } }), { at: AT });
    expect((await make()).id).to.equal((await make()).id);
  });

  it('counts what is recorded, what is proven, what is unknown', async () => {
    const { document, byReadings, from, problems, leastProbability } = withIdentifications(SMALL, [
      identified('small/T1', 'B', AT),
      identified('elsewhere', 'C', AT),
    ]);
    expect([document.loads[0]!.phases, [...byReadings], from.length, problems]).to.deep.equal([['B'], ['l1'], 1, []]);
    const plan = await planMoves(makeLoading(document), { ...clock, aim: { kind: 'best', moves: 1 } });
    const record = planRecord(plan, { at: AT, from, byReadings, leastProbability });
    expect(problemsOf('plan', record)).to.deep.equal([]);
    expect(record.basis).to.deep.equal({
      identified: 1,
      recorded: 2,
      leastProbability: 0.9995,
    });
    const list = [{ id: 'l4', section: 'far', kW: 7, terminals: [] }];
    expect(record.undecided).to.deep.equal({ loads: 1, kW: 7, list });
    expect(record.moves.map((m) => m.knownBy)).to.deep.equal(['readings']);
    const csv = parseCsv(workListCsv(record)).map((r) => r.fields);
    expect(csv[1]!.slice(-4, -1)).to.deep.equal(['readings', 'open', 'small/T1']);
    expect(csv[2]).to.include.members(['load of unknown phase', 'l4', 'far', 'undecided']);
    expect(csv[2]).to.have.length(csv[0]!.length);
    expect(record.losses!.assumptions).to.match(/Estimate/);
    expect(record.moves.map((m) => [m.from, m.to])).to.deep.equal([[['B'], ['A']]]);
  });

  it('a load of unknown phase takes part as soon as it is read', () => {
    const loads = [{ id: 'u', section: 'far', phases: [], kW: 7, movable: true, terminals: ['small/T9'] }];
    const undecided = (i: Identification[]) =>
      sectionLoading(makeLoading(withIdentifications({ ...SMALL, loads }, i).document))[2]!.undecided.loads;
    expect([undecided([]), undecided([identified('small/T9', null)])]).to.deep.equal([1, 1]);
    expect(undecided([identified('small/T9', 'B')])).to.equal(0);
  });

  it('a lateral turns with everything on it; what cannot be is told, and the record kept', () => {
    const document: LoadingDocument = {
      ...SMALL,
      laterals: [{ section: 'far', terminals: ['far/1', 'far/2'] }],
      loads: [
        { id: 'l1', section: 'far', phases: ['A'], kW: 10 },
        { id: 'l2', section: 'far', phases: ['B'], kW: 15 },
        { id: 'l3', section: 'head', phases: ['C'], kW: 20, terminals: ['small/T3'] },
        { id: 'l4', section: 'far', phases: ['B'], kW: 1, terminals: ['small/T4'] },
      ],
    };
    const turned = withIdentifications(document, [
      identified('far/1', 'B'),
      identified('far/2', 'C'),
      identified('small/T3', 'X'),
      identified('small/T4', 'A'),
    ]);
    expect(turned.document.loads.map((l) => l.phases)).to.deep.equal([['B'], ['C'], ['C'], ['C']]);
    expect(turned.document.sections[1]!.phases).to.deep.equal(['B', 'C']);
    expect([...turned.byReadings]).to.have.members(['l1', 'l2', 'l4']);
    expect(turned.problems.map((p) => p.slice(0, 8))).to.deep.equal(['load l3:', 'load l4:']);
    expect(sectionLoading(makeLoading(turned.document))[1]!.phases.map((p) => p.kW)).to.deep.equal([0, 10, 36]);
    const half = withIdentifications(document, [identified('far/1', 'B')]);
    expect(half.document.loads[0]!.phases).to.deep.equal(['A']);
    expect(half.problems).to.deep.equal([
      'lateral far: readings prove B on far/1, where the record says A, B, and nothing of far/2; the record is kept until that is read too',
    ]);
    expect(withIdentifications(document, [identified('far/1', 'A')]).problems).to.deep.equal([]);
  });

  it('later readings confirm a move; none, old ones, or other phases do not', async () => {
    const { document } = withIdentifications(SMALL, [identified('small/T1', 'B', AT)]);
    const record = planRecord(await planMoves(makeLoading(document), { ...clock, aim: { kind: 'best', moves: 1 } }), {
      at: AT,
    });
    const state = (...i: Identification[]) => followUp(record, i).moves.map((m) => m.state);
    expect(state(identified('small/T1', 'A'))).to.deep.equal(['confirmed']);
    expect(state(identified('small/T1', 'A', AT))).to.deep.equal(['open']);
    // A minute after the plan, as a clock five hours west writes it.
    expect(state(identified('small/T1', 'A', '2026-05-04T05:01:00-05:00'))).to.deep.equal(['confirmed']);
    expect(state(identified('small/T1', null))).to.deep.equal(['open']);
    expect(state(identified('small/T1', 'B'))).to.deep.equal(['open']);
    expect(state(identified('small/T1', 'C'))).to.deep.equal(['elsewhere']);
    const done = followUp(record, [identified('small/T1', 'A')]);
    expect(problemsOf('plan', done)).to.deep.equal([]);
    expect(done.id).not.to.equal(record.id);
    expect(done.from).to.include(identified('small/T1', 'A').id);
    expect(followUp(record, [])).to.equal(record);
  });

  it('the work list reads back from CSV, and no cell is a formula', async () => {
    const loads = [
      { id: '=l1', section: 'head', phases: ['C'], kW: 10, movable: true },
      { id: 'l2', section: 'head', phases: ['B'], kW: 15 },
      { id: 'l3', section: 'head', phases: ['C'], kW: 20 },
    ];
    const plan = await planMoves(makeLoading({ ...SMALL, loads }), { ...clock, aim: { kind: 'best', moves: 1 } });
    const record = planRecord(plan, { at: AT });
    const rows = parseCsv(workListCsv(record)).map((r) => r.fields);
    expect(rows).to.have.length(2 + record.moves.length);
    expect(rows[1]!.slice(0, 6)).to.deep.equal(['1', 'load', "'=l1", 'head', 'C', 'A']);
    expect(rows.at(-1)!.at(-1)).to.equal(record.caution);
  });
});

describe('the phase for a new load', () => {
  it('is the one that leaves the smallest deviation above, with the effect on every section', () => {
    const loading = makeLoading(SMALL);
    const head = phaseForNewLoad(loading, { id: 'new', section: 'head', phases: ['A'], kW: 8 });
    // A 18, B 15, C 20 is nearest to equal
    expect(head.map((o) => o.phases[0])).to.deep.equal(['A', 'B', 'C']);
    expect(head[0]!.worstKW).to.be.closeTo(53 / 3 - 15, 1e-9);
    expect(head[0]!.upstream.map((u) => u.section)).to.deep.equal(['head', 's']);
    const far = phaseForNewLoad(loading, { id: 'new', section: 'far', phases: ['A'], kW: 8 });
    expect(far.map((o) => o.phases[0])).to.have.members(['A', 'B']);
  });

  it('keeps the rotation of a load on three phases', () => {
    const options = phaseForNewLoad(makeLoading(SMALL), { id: 'new', section: 'head', phases: P, kW: 30 });
    expect(options.map((o) => o.phases.join(''))).to.have.members(['ABC', 'BCA', 'CAB']);
  });
});
