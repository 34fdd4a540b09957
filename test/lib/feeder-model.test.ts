import { expect } from 'chai';
import { type FeederDocument, makeFeeder } from '../../lib/feeder/model';

const base: FeederDocument = {
  id: 'F',
  source: 'n0',
  sections: [
    { id: 's3', from: 'n2', to: 'n3', phases: ['C'], kind: 'tap' },
    { id: 's1', from: 'n0', to: 'n1', phases: ['A', 'B', 'C'] },
    { id: 's2', from: 'n2', to: 'n1', phases: ['C', 'A'] },
  ],
  terminals: [{ id: 't1', section: 's2', phase: 'A' }],
};
const problems = (change: Partial<FeederDocument>): string => {
  try {
    makeFeeder({ ...base, ...change });
    return '';
  } catch (err) {
    expect(err).to.be.instanceOf(RangeError);
    return (err as Error).message;
  }
};

describe('feeder model', () => {
  it('puts every section after the one that feeds it, whichever end the record names first', () => {
    const feeder = makeFeeder(base);
    expect(feeder.ids).to.deep.equal(['n0', 's1', 's2', 's3']);
    expect([...feeder.parent]).to.deep.equal([-1, 0, 1, 2]);
    expect([...feeder.mask]).to.deep.equal([7, 7, 5, 4]);
    expect(feeder.terminals.get('t1')).to.include({ section: 2, conductor: 0, site: 's2' });
  });

  it('finds loops through closed switches, open ties, and what nothing feeds', () => {
    const feeder = makeFeeder({
      ...base,
      sections: [
        ...base.sections,
        { id: 's4', from: 'n0', to: 'n4', phases: ['A', 'B', 'C'] },
        { id: 'lost', from: 'x', to: 'y', phases: ['A'] },
      ],
      switches: [
        { id: 'k1', from: 'n4', to: 'n2', phases: ['A', 'C'], closed: true },
        { id: 'k2', from: 'n4', to: 'n3', phases: ['C'], closed: false },
      ],
    });
    expect(feeder.loops.length).to.equal(1);
    expect(feeder.openTies.map((t) => t.id)).to.deep.equal(['k2']);
    expect(feeder.unfed).to.deep.equal(['lost']);
  });

  it('names the row, what is wrong and what would be right', () => {
    expect(problems({ source: 'nowhere' })).to.match(/source: no section begins or ends at node nowhere; expected/);
    expect(problems({ terminals: [{ id: 't', section: 's3', phase: 'A' }] })).to.match(
      /terminals\[0\] \(t\): phase A is not on section s3; expected one of C/,
    );
    expect(problems({ sections: [...base.sections, base.sections[0]!] })).to.match(
      /sections\[3\] \(s3\): id is used twice/,
    );
    expect(problems({ sections: [...base.sections, { id: 'b', from: 'n3', to: 'n9', phases: ['B'] }] })).to.match(
      /section b: phase B is recorded here but not on section s3, which feeds it; expected phases among C/,
    );
    expect(
      problems({ transformers: [{ id: 'T', from: 'n3', to: 'n5', phases: ['C'], vectorGroup: 'Dyn2' }] }),
    ).to.match(/transformers\[0\] \(T\): vectorGroup: .*expected/);
  });
});
