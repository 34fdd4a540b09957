import { expect } from 'chai';
import type { Comparison, Identification } from '../../lib';
import { conflicts } from '../../lib/feeder/conflicts';
import { evidenceFrom, tieFrom } from '../../lib/feeder/from-records';
import { type FeederDocument, makeFeeder } from '../../lib/feeder/model';
import { dayPlan, nextBest } from '../../lib/feeder/next-best';
import type { PairFactor } from '../../lib/feeder/pair-factor';
import { image, permutationIndex } from '../../lib/feeder/permutation';
import { conductorPhases, type FeederTrace, sectionLabel, traceFeeder } from '../../lib/feeder/trace';
import { traceRecord } from '../../lib/feeder/trace-record';
import { problemsOf } from '../../lib/validate';

const ABC = ['A', 'B', 'C'] as const;

/** A trunk of twelve sections, m1 to m12, read at every third; a one-phase and a two-phase tap. */
function document(extra: Partial<FeederDocument> = {}): FeederDocument {
  const trunk = Array.from({ length: 12 }, (_, i) => ({
    id: `m${i + 1}`,
    from: `n${i}`,
    to: `n${i + 1}`,
    phases: ABC,
    kind: i === 6 ? ('joint' as const) : ('span' as const),
  }));
  const taps = [
    { id: 'one', from: 'n9', to: 'o', phases: ['B'] },
    { id: 'two', from: 'n9', to: 'p', phases: ['C', 'A'] },
  ];
  const at = [3, 6, 9, 10, 12].flatMap((k) => ABC.map((phase) => ({ id: `t${k}${phase}`, section: `m${k}`, phase })));
  return { id: 'F', source: 'n0', sections: [...trunk, ...taps], terminals: at, ...extra };
}

const identification = (terminal: string, angleDeg: number): Identification => ({
  kind: 'identification',
  id: `pi-${terminal}`,
  at: '2026-05-04T10:00:00.000000Z',
  from: [],
  terminal,
  verdict: 'identified',
  phase: 'A',
  connection: 'phase-neutral',
  slot: 0,
  probability: 1,
  candidates: [],
  angleDeg,
  expectedDeg: 0,
  residualDeg: 0,
  sdDeg: 4,
  reference: 'ref',
  recordedPhase: null,
  agreesWithRecord: null,
  reasons: [],
});

/** What the three terminals of a trunk section read when its conductors stand so; 3 degrees off. */
const read = (k: number, s: number): Identification[] =>
  ABC.map((phase, j) => identification(`t${k}${phase}`, -120 * image(s, j) + 3));

const SWAP_AB = permutationIndex([1, 0, 2]);
const trace = (doc: FeederDocument, ids: Identification[]): FeederTrace => {
  const feeder = makeFeeder(doc);
  return traceFeeder(feeder, evidenceFrom(feeder, ids));
};
const crossed = () => trace(document(), [...read(3, 0), ...read(6, 0), ...read(9, SWAP_AB), ...read(12, SWAP_AB)]);

describe('trace of a feeder', () => {
  it('names one crossing as the cause of all the labels below it, and the joint as the likeliest place', () => {
    const t = crossed();
    const record = traceRecord(t, { at: '2026-05-04T10:00:00.000000Z' });
    expect(problemsOf('trace', record)).to.deep.equal([]);
    expect(record.corrections.length).to.equal(1);
    const [c] = record.corrections;
    expect(c!.cause).to.include({ section: 'm7', change: 'A and B swapped (sequence reversed)' });
    expect(c!.labels.map((l) => l.section)).to.include.members(['m9', 'm10', 'm11', 'm12', 'one', 'two']);
    expect(c!.labels.find((l) => l.section === 'one')).to.deep.include({ recorded: ['B'], phases: ['A'] });
    expect(c!.labels.every((l) => l.probability >= 0.95)).to.equal(true);
    expect(c!.from).to.have.members([...read(9, 0), ...read(12, 0)].map((i) => i.id));
    expect(record.suspects[0]!.sections[0]!.section).to.equal('m7');
    expect(record.exactness).to.equal('exact');
  });

  it('reports of partial laterals only the conductors present', () => {
    const t = crossed();
    const phases = conductorPhases(t, t.feeder.indexOf.get('two')!);
    expect(phases.map((p) => [p.recorded, p.phase])).to.deep.equal([
      ['A', 'B'],
      ['C', 'C'],
    ]);
    expect(sectionLabel(t, t.feeder.indexOf.get('m3')!).phases).to.deep.equal([...ABC]);
  });

  it('tells wrong tags at one site from a crossing: nothing downstream is corrected', () => {
    const t = trace(document(), [...read(3, 0), ...read(6, SWAP_AB), ...read(9, 0), ...read(12, 0)]);
    expect(t.corrections).to.deep.equal([]);
    expect(t.sites.map((s) => t.feeder.ids[s.section])).to.deep.equal(['m6']);
    expect(t.sites[0]!.tagProbability).to.be.above(0.5);
  });

  it('still suggests a place of which only some conductors were read, and none that was read whole', () => {
    const partly = trace(document(), [...read(3, 0), ...read(12, SWAP_AB), read(9, SWAP_AB)[0]!]);
    const suggested = partly.suggestions.map((c) => partly.feeder.ids[c.section]);
    expect(suggested).to.include('m9');
    expect(suggested).not.to.include.oneOf(['m3', 'm12']);
  });

  it('sends nobody out for next to nothing', () => {
    const feeder = makeFeeder(document());
    const everywhere = evidenceFrom(
      feeder,
      [3, 6, 9, 12].flatMap((k) => read(k, 0)),
    );
    const { solution, suggestions, read: done } = traceFeeder(feeder, everywhere);
    // m10 stands between m9 and m12, both read: what a reading there would tell is above nothing, and below a hundredth of a bit.
    const [between] = nextBest(solution, done).filter((s) => s.section === feeder.indexOf.get('m10'));
    expect(between!.settles).to.be.within(1e-9, 0.01);
    expect(suggestions).to.deep.equal([]);
  });

  it('says of one conductor where it goes, not that a sequence is reversed', () => {
    const lateral = [1, 2, 3].map((k) => ({
      id: `one${k}`,
      from: k === 1 ? 'o' : `o${k - 1}`,
      to: `o${k}`,
      phases: ['B'],
    }));
    const doc = document({
      sections: [...document().sections, ...lateral],
      terminals: [
        ...ABC.map((phase) => ({ id: `t9${phase}`, section: 'm9', phase })),
        ...lateral.map(({ id }) => ({ id: `t-${id}`, section: id, phase: 'B' })),
      ],
    });
    const onA = lateral.map(({ id }) => identification(`t-${id}`, 0));
    const at = '2026-05-04T10:00:00.000000Z';
    const { corrections } = traceRecord(trace(doc, [...read(9, 0), ...onA]), { at });
    expect(corrections.map((c) => c.cause.change)).to.deep.equal(['B to A']);
  });

  it('offers no correction without evidence, and says what is not settled', () => {
    const record = traceRecord(trace(document(), []), { at: '2026-05-04T10:00:00.000000Z' });
    expect(record.corrections).to.deep.equal([]);
    expect(record.coverage).to.include({ measured: 0, sections: 14, disagreeing: 0 });
    expect(record.suggestions.length).to.be.above(0);
  });

  it('gives the same id for the same evidence in another order', () => {
    const ids = [...read(3, 0), ...read(9, SWAP_AB)];
    const at = { at: '2026-05-04T10:00:00.000000Z' };
    const [a, b] = [ids, [...ids].reverse()].map((i) => traceRecord(trace(document(), i), at).id);
    expect(a).to.equal(b);
  });

  it('tells a closed loop whose two sides were read on different phases', () => {
    const plain = document();
    const doc = {
      ...plain,
      sections: plain.sections.map((s) => ({ ...s, kind: 'span' as const })),
      switches: [{ id: 'k', from: 'n3', to: 'n12', phases: [...ABC], closed: true }],
    };
    const joined = trace(doc, [...read(3, 0), ...read(6, 0), ...read(9, 0), ...read(12, 0)]);
    expect(joined.conflicts).to.deep.equal([]);
    const across = [9, 10, 12].flatMap((k) => read(k, SWAP_AB));
    const split = trace(doc, [...read(3, 0), ...read(6, 0), ...across]);
    expect(split.conflicts.map((c) => c.what)).to.deep.equal(['loop']);
  });

  it('takes a comparison across an open tie as evidence, and tells when it contradicts the rest', () => {
    const doc = document();
    const feeder = makeFeeder(doc);
    const straight: Comparison = {
      ...({} as Comparison),
      kind: 'comparison',
      openPoint: 'tie',
      verdict: 'same-phase',
      landing: 'straight',
      probability: 0.9999,
      pairs: [],
      belongs: ABC.map((p) => ({ left: `t3${p}`, right: `t12${p}`, landedOn: `t12${p}` })),
    };
    const tie = tieFrom(feeder, straight)!;
    const landedSwapped = {
      ...straight,
      belongs: ['A', 'B', 'C'].map((p, i) => ({ left: `t3${p}`, right: `t12${'BAC'[i]}`, landedOn: `t12${p}` })),
    };
    const evidence = evidenceFrom(feeder, [...read(3, 0), ...read(9, SWAP_AB)]);
    const label = (ties: PairFactor[]) => sectionLabel(traceFeeder(feeder, evidence, ties), feeder.indexOf.get('m12')!);
    expect(label([]).probability).to.be.below(0.95);
    expect(label([tieFrom(feeder, landedSwapped)!])).to.deep.include({ phases: ['B', 'A', 'C'] });
    expect(label([tieFrom(feeder, landedSwapped)!]).probability).to.be.above(0.95);
    const all = evidenceFrom(feeder, [...read(3, 0), ...[9, 10, 12].flatMap((k) => read(k, SWAP_AB))]);
    const t = traceFeeder(feeder, all, [tie]);
    expect(conflicts(t.solution, [tie]).map((c) => c.what)).to.deep.equal(['tie']);
    expect(tieFrom(feeder, { ...straight, verdict: 'not-proven' })).to.equal(undefined);
  });

  it('plans a day: different sections, in an order that walks along the feeder', () => {
    const t = trace(document(), read(3, 0));
    const plan = dayPlan(t.solution, t.evidence, t.measured, 4);
    expect(new Set(plan.choices.map((c) => c.section)).size).to.equal(4);
    expect([...plan.travel].sort()).to.deep.equal(plan.choices.map((c) => c.section).sort());
  });
});
