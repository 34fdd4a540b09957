import { expect } from 'chai';
import type { Comparison, Identification } from '../../lib';
import { blocksOf } from '../../lib/feeder/blocks';
import { evidenceFrom, tieFrom } from '../../lib/feeder/from-records';
import { type ClockNumber, type Feeder, type FeederTree, makeFeeder } from '../../lib/feeder/model';
import { type PairFactor, pairFactor } from '../../lib/feeder/pair-factor';
import { image, PERMUTATIONS, parity } from '../../lib/feeder/permutation';
import { probabilityOf, solve } from '../../lib/feeder/solve';
import { type FeederTrace, sectionLabel, traceFeeder } from '../../lib/feeder/trace';
import { traceRecord } from '../../lib/feeder/trace-record';
import { windingsMeet } from '../../lib/feeder/windings-meet';
import { identificationAt } from '../kit/feeder-trunk';
import { chance } from '../outside/rates/chance';
import { randomTree } from './feeder-enumeration';

const ABC = ['A', 'B', 'C'] as const;
const AT = '2026-05-04T10:00:00.000000Z';

/** Two transformers side by side on one line, their secondaries joined by a switch. */
const parallel = (left: string, right: string, closed = true): Feeder =>
  makeFeeder({
    id: 'F',
    source: 'n0',
    sections: [
      { id: 'line', from: 'n0', to: 'n1', phases: ABC, kind: 'joint' },
      { id: 'l', from: 'n2', to: 'n4', phases: ABC },
      { id: 'r', from: 'n3', to: 'n5', phases: ABC, kind: 'joint' },
    ],
    transformers: [
      { id: 'T1', from: 'n1', to: 'n2', phases: ABC, vectorGroup: left },
      { id: 'T2', from: 'n1', to: 'n3', phases: ABC, vectorGroup: right },
    ],
    switches: [{ id: 'k', from: 'n4', to: 'n5', phases: ABC, closed }],
    terminals: ['line', 'l', 'r'].flatMap((section) =>
      ABC.map((phase) => ({ id: `${section}${phase}`, section, phase })),
    ),
  });
const changes = (feeder: Feeder, loops: boolean): number[] => {
  const { solution } = traceFeeder(loops ? feeder : { ...feeder, loops: [] }, []);
  return [...solution.change];
};
const read = (section: string, s: number, turnDeg: number): Identification[] =>
  ABC.map((p, j) => identificationAt(`${section}${p}`, -120 * image(s, j) + turnDeg, AT));
const compared = (differenceDeg: number, right = 'ABC'): Comparison =>
  ({
    openPoint: 'k',
    verdict: 'not-the-same-phase',
    probability: 0.9999,
    pairs: ABC.map((p) => ({ left: `l${p}`, right: `r${p}`, differenceDeg, sdDeg: 1, gapV: null, gapUpperV: null })),
    belongs: ABC.map((p, i) => ({ left: `l${p}`, right: `r${right[i]}`, landedOn: `r${p}` })),
  }) as unknown as Comparison;

describe('loops and ties between windings that turn', () => {
  it('a loop through Dyn1 and Dyn11 can never close: told as a contradiction of the record, and no crossing is inferred', () => {
    const feeder = parallel('Dyn1', 'Dyn11');
    const trace = traceFeeder(feeder, []);
    expect(trace.conflicts).to.deep.equal([{ what: 'loop', id: 'k', against: 'windings', support: 0 }]);
    expect(trace.solution.leftOut).to.deep.equal([]);
    expect(changes(feeder, true)).to.deep.equal(changes(feeder, false));
    expect(traceRecord(trace, { at: AT }).conflicts[0]!.why).to.match(/by the transformers on record/);
  });

  it('nor can one through Dyn1 and a line that turns nothing', () => {
    expect(traceFeeder(parallel('Dyn1', 'YNyn0'), []).conflicts.map((c) => c.against)).to.deep.equal(['windings']);
  });

  it('through Dyn1 twice it closes, with the conductors as recorded and with two swapped before both', () => {
    const feeder = parallel('Dyn1', 'Dyn1');
    // Two legs swapped before a Dyn1: it leads by 30 degrees instead (test of delta-star transformers, by phasor arithmetic).
    for (const [s, turnDeg] of [
      [0, -30],
      [3, 30],
    ] as const) {
      const evidence = evidenceFrom(feeder, [
        ...read('line', s, 0),
        ...read('l', s, turnDeg),
        ...read('r', s, turnDeg),
      ]);
      const trace = traceFeeder(feeder, evidence);
      expect(trace.conflicts).to.deep.equal([]);
      expect(trace.solution.keptOpen).to.deep.equal([]);
      expect(sectionLabel(trace, feeder.indexOf.get('k')!)).to.deep.include({
        phases: ABC.map((_, j) => ABC[image(s, j)]),
      });
    }
  });

  it('what one side reads behind equal windings tells of the other through the loop', () => {
    const feeder = parallel('Dyn1', 'Dyn1');
    const evidence = evidenceFrom(feeder, read('l', 1, -30));
    const right = (f: Feeder) => sectionLabel(traceFeeder(f, evidence), feeder.indexOf.get('r')!);
    expect(right(feeder).phases).to.deep.equal(['B', 'C', 'A']);
    expect(right(feeder).probability).to.be.above(right({ ...feeder, loops: [] }).probability);
  });

  it('Dyn5 stands 120 degrees behind Dyn1: a loop is a contradiction, a tie that was compared so is none', () => {
    expect(traceFeeder(parallel('Dyn1', 'Dyn5'), []).conflicts.map((c) => c.against)).to.deep.equal(['windings']);
    const feeder = parallel('Dyn1', 'Dyn5', false);
    const r = feeder.indexOf.get('r')!;
    // Left A at -30 degrees belongs with right C, at 120 - 150: each faces a conductor 120 degrees behind.
    const [tied, free] = [[tieFrom(feeder, compared(120, 'CAB'))!], []].map((ties) => traceFeeder(feeder, [], ties));
    expect(tied!.conflicts).to.deep.equal([]);
    expect(sectionLabel(tied!, r).phases).to.deep.equal([...ABC]);
    expect(sectionLabel(tied!, r).probability).to.be.above(sectionLabel(free!, r).probability);
    const straight = traceFeeder(feeder, [], [tieFrom(feeder, compared(0))!]);
    expect(straight.conflicts.map((c) => c.against)).to.deep.equal(['windings']);
    expect([...straight.solution.change]).to.deep.equal([...free!.solution.change]);
  });

  it('an unknown vector group is told by the loop it is in', () => {
    const feeder = parallel('Dyn1', 'unknown');
    const trace = traceFeeder(feeder, evidenceFrom(feeder, read('line', 0, 0)));
    expect(trace.conflicts).to.deep.equal([]);
    let turned = 0;
    trace.solution.eachState(feeder.indexOf.get('T2')!, (_s, shift, p) => {
      if (shift === 11) turned += p;
    });
    expect(turned).to.be.above(0.9);
  });

  it('a tie compared across Dyn1 and Dyn1 tells of a roll; the same phase across Dyn1 and Dyn11 tells of the record only', () => {
    const traced = (right: string, ...ties: Comparison[]) => {
      const feeder = parallel('Dyn1', right, false);
      const evidence = evidenceFrom(feeder, [...read('line', 0, 0), ...read('l', 0, -30)]);
      return traceFeeder(
        feeder,
        evidence,
        ties.map((c) => tieFrom(feeder, c)!),
      );
    };
    // Left A belongs with right B, which stands where A is recorded: rolled, A on C.
    const roll = PERMUTATIONS.findIndex((p) => p.join() === '2,0,1');
    const rolled = (t: FeederTrace) => probabilityOf(t.solution, t.feeder.indexOf.get('r')!, roll);
    expect(rolled(traced('Dyn1', compared(-120, 'BCA')))).to.be.above(20 * rolled(traced('Dyn1')));
    const against = traced('Dyn11', compared(0));
    expect(against.conflicts).to.deep.equal([{ what: 'tie', id: 'k', against: 'windings', support: 0 }]);
    expect(against.suspects).to.deep.equal([]);
    expect([...against.solution.change]).to.deep.equal([...traced('Dyn11').solution.change]);
  });

  it('a standing angle that the windings on record explain is no contradiction, and tells of no crossing', () => {
    const feeder = parallel('Dyn1', 'YNyn0', false);
    const evidence = evidenceFrom(feeder, read('line', 0, 0));
    const [with30, without] = [[tieFrom(feeder, compared(-30))!], []].map((ties) =>
      traceFeeder(feeder, evidence, ties),
    );
    expect(with30!.conflicts).to.deep.equal([]);
    const r = feeder.indexOf.get('r')!;
    expect(sectionLabel(with30!, r).phases).to.deep.equal([...ABC]);
    expect(sectionLabel(with30!, r).probability).to.be.above(sectionLabel(without!, r).probability);
    // Measured without a standing angle, the vector group or the tie is recorded wrong.
    expect(traceFeeder(feeder, evidence, [tieFrom(feeder, compared(0))!]).conflicts[0]!.against).to.equal('windings');
  });

  it('does not tie the second half of a centre tap to a first half', () => {
    const feeder = parallel('Dyn1', 'Dyn1', false);
    const terminals = new Map(
      [...feeder.terminals].map(([id, t]) => [id, { ...t, reversed: t.section === feeder.indexOf.get('r') }]),
    );
    expect(tieFrom({ ...feeder, terminals }, compared(0))).to.equal(undefined);
  });

  it('is judged like every assignment of clock numbers with no crossing (source: exhaustive enumeration)', () => {
    const turns: readonly (readonly number[])[] = [[1], [11], [5], [6], [0, 1, 11]];
    const counts = { meet: 0, apart: 0 };
    for (let seed = 1; seed <= 300; seed++) {
      const dice = chance(seed + 4000);
      const windings = new Map<number, readonly ClockNumber[]>();
      for (let v = 1; v < 7; v++) {
        const clocks = turns[dice.below(turns.length)]!;
        if (dice.uniform() < 0.5)
          windings.set(
            v,
            clocks.map((n) => ({ n, probability: 1 / clocks.length })),
          );
      }
      const tree = randomTree(seed, 7, windings);
      const factors = [0, 1].map((i): PairFactor => {
        const a = 1 + dice.below(6);
        const b = 1 + ((a + dice.below(5)) % 6);
        return pairFactor(`f${i}`, a, b, { pairs: [[0, 0]], ahead: dice.below(3) - 1, fits: 1, else: 0 });
      });
      for (const block of blocksOf(tree, factors).blocks) {
        const got = windingsMeet(tree, block);
        expect(got, `seed ${seed}`).to.equal(someAssignmentMeets(tree, block.factors));
        counts[got ? 'meet' : 'apart']++;
      }
      for (const f of solve(tree, [], factors).keptOpen) expect(factors).to.include(f);
    }
    expect(counts.meet).to.be.above(50);
    expect(counts.apart).to.be.above(50);
  });
});

/** All sections at one permutation, each possible clock number in turn: then the windings alone must turn by what is stated. */
function someAssignmentMeets(tree: FeederTree, factors: readonly PairFactor[]): boolean {
  const shifts = new Int32Array(tree.count);
  const from = (v: number, s: number): boolean => {
    if (v === tree.count) return factors.every((f) => (shifts[f.a]! - shifts[f.b]! - f.ahead + 24) % 12 === 0);
    return (tree.windings.get(v) ?? [{ n: 0 }]).some(({ n }) => {
      shifts[v] = (((shifts[tree.parent[v]!]! - n * parity(s)) % 12) + 12) % 12;
      return from(v + 1, s);
    });
  };
  return from(1, 0) || from(1, 3);
}
