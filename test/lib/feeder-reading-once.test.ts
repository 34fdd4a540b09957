import { expect } from 'chai';
import type { Comparison, Identification, Rotation } from '../../lib';
import { CaseFile } from '../../lib/feeder/case-file';
import { evidenceFrom, tieFrom } from '../../lib/feeder/from-records';
import { rotationEvidence } from '../../lib/feeder/from-rotations';
import { type FeederDocument, makeFeeder } from '../../lib/feeder/model';
import { angle, identificationAt } from '../kit/feeder-trunk';
import { enumerate } from './feeder-enumeration';

const ABC = ['A', 'B', 'C'] as const;
/** Two branches with an open tie between their ends, and a section behind each. */
const document: FeederDocument = {
  id: 'F',
  source: 'n',
  sections: [
    { id: 'a', from: 'n', to: 'na', phases: ABC, kind: 'joint' },
    { id: 'b', from: 'n', to: 'nb', phases: ABC, kind: 'joint' },
    { id: 'c', from: 'nb', to: 'nc', phases: ABC, kind: 'works' },
  ],
  terminals: ['a', 'b', 'c'].flatMap((s) => ABC.map((p) => ({ id: `${s}${p}`, section: s, phase: p }))),
};
const at = '2026-05-04T10:00:00.000000Z';
/** Identifications of a section's conductors, each from a reading of its own and two of the reference. */
const read = (section: string, really: string, visit = 1): Identification[] =>
  [...really].map((phase, i) => ({
    ...identificationAt(`${section}${ABC[i]}`, angle(phase), at),
    from: [`rd-${section}${ABC[i]}-${visit}`, `rd-ref-${visit}`, 'rd-ref'],
  }));
const compared = (left: string, right: string, visit = 1): Comparison =>
  ({
    kind: 'comparison',
    id: `cm-${left}${right}-${visit}`,
    at,
    from: [...[left, right].flatMap((s) => ABC.map((p) => `rd-${s}${p}-${visit}`)), 'rd-ref', `rd-ref-${visit}`],
    openPoint: `tie ${left}${right}`,
    verdict: 'same-phase',
    probability: 0.9999,
    pairs: [],
    belongs: ABC.map((p) => ({ left: `${left}${p}`, right: `${right}${p}`, landedOn: `${right}${p}` })),
  }) as unknown as Comparison;
const turning = (section: string, visit = 1): Rotation =>
  ({
    kind: 'rotation',
    id: `ro-${section}`,
    at,
    from: ABC.map((p) => `rd-${section}${p}-${visit}`),
    site: section,
    terminals: ABC.map((p) => `${section}${p}`),
    verdict: 'decided',
    sequence: 'ABC',
    probability: 0.9999,
  }) as Rotation;

const feeder = makeFeeder(document);
const traced = (...findings: (Identification | Comparison | Rotation)[]) => {
  const file = new CaseFile(feeder);
  for (const f of findings) file.take(f);
  return file.run().solution;
};
const near = (got: ArrayLike<number>, want: ArrayLike<number>) =>
  expect(Math.max(...Array.from(got, (x, i) => Math.abs(x - want[i]!)))).to.be.below(1e-6);

describe('each reading counts once in a trace (source: enumeration of the joint likelihood)', () => {
  it('a comparison from the readings that were identified on both sides adds nothing', () => {
    const both = [...read('a', 'BAC'), ...read('b', 'BAC')];
    const joint = enumerate(feeder, evidenceFrom(feeder, both)).belief;
    near(traced(...both, compared('a', 'b')).belief, joint);
  });

  it('a comparison from other readings counts beside them', () => {
    const both = [...read('a', 'BAC'), ...read('b', 'BAC')];
    const tie = compared('a', 'b', 2);
    const joint = enumerate(feeder, evidenceFrom(feeder, both), [tieFrom(feeder, tie)!]).belief;
    near(traced(...both, tie).belief, joint);
    expect(Math.abs(joint[3 + 6]! - enumerate(feeder, evidenceFrom(feeder, both)).belief[3 + 6]!)).to.be.above(1e-4);
  });

  it('a comparison counts where only one side was identified: the other side given the first', () => {
    const tie = compared('a', 'c');
    const joint = enumerate(feeder, evidenceFrom(feeder, read('a', 'BAC')), [tieFrom(feeder, tie)!]).belief;
    near(traced(...read('a', 'BAC'), tie).belief, joint);
    const without = enumerate(feeder, evidenceFrom(feeder, read('a', 'BAC'))).belief;
    expect(joint[3 + 18]!, 'c as a').to.be.above(1.5 * without[3 + 18]!);
  });

  it('a rotation gives way to a comparison from the same readings with evidence on the other side', () => {
    const tie = compared('a', 'c');
    const joint = enumerate(feeder, evidenceFrom(feeder, read('a', 'ABC')), [tieFrom(feeder, tie)!]).belief;
    near(traced(...read('a', 'ABC'), tie, turning('c')).belief, joint);
    const rotations = enumerate(feeder, [rotationEvidence(feeder, turning('a'))!], [tieFrom(feeder, tie)!]).belief;
    near(traced(turning('a'), tie, turning('c')).belief, rotations);
  });

  it('a rotation of other readings counts beside a comparison', () => {
    const tie = compared('a', 'c');
    const evidence = [...evidenceFrom(feeder, read('a', 'ABC')), rotationEvidence(feeder, turning('c', 2))!];
    near(
      traced(...read('a', 'ABC'), tie, turning('c', 2)).belief,
      enumerate(feeder, evidence, [tieFrom(feeder, tie)!]).belief,
    );
  });
});
