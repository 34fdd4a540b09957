import { expect } from 'chai';
import {
  type Align,
  alignOptions,
  alignSet,
  alignToReference,
  makeFrame,
  type Reading,
  ReferenceStream,
  withAlignmentReasons,
} from '../../lib';
import { at, GRID_HZ, readAt, referenceAt, solved } from '../kit/feeder13';
import { read } from './readings';

const frame = makeFrame({
  references: [{ id: 'SUB', terminal: '650/A' }, { id: 'OTHER', terminal: 'other' }, { id: 'NONE' }],
});

function alignWith(streams: Record<string, ReferenceStream>): Align {
  return (reading, reference) => {
    const around = streams[reference.id]?.around(at(0) + (Date.parse(reading.takenAt) * 1000 - at(0))) ?? [];
    return alignToReference(reading, around, { ...alignOptions(frame), reference: reference.id });
  };
}
const streamOf = (...readings: Reading[]) => {
  const stream = new ReferenceStream();
  for (const r of readings) stream.add(r);
  return stream;
};

describe('the stream of a reference', () => {
  it('keeps angles against UTC in the order in which they were taken, each once', () => {
    const s = new ReferenceStream();
    expect([3, 1, 2].map((t) => s.add(referenceAt(at(t))))).to.deep.equal([true, true, true]);
    expect(s.add(referenceAt(at(2)))).to.equal(false);
    expect(s.add(read('650/A', 5))).to.equal(false);
    expect(s.around(at(2)).map((r) => r.takenAt)).to.deep.equal([1, 2, 3].map((t) => referenceAt(at(t)).takenAt));
  });

  it('brackets an instant with two readings near enough, or one at the instant', () => {
    const s = streamOf(referenceAt(at(0)), referenceAt(at(4)), referenceAt(at(20)));
    expect([at(0), at(1), at(4)].map((us) => s.brackets(us, 5))).to.deep.equal([true, true, true]);
    expect([at(-1), at(10), at(21)].map((us) => s.brackets(us, 5))).to.deep.equal([false, false, false]);
    expect([s.reaches(at(20)), s.reaches(at(20.1))]).to.deep.equal([true, false]);
  });

  it('keeps no more than it was told', () => {
    const s = new ReferenceStream(10);
    for (let i = 0; i < 50; i++) s.add(referenceAt(at(i)));
    expect(s.brackets(at(5), 5)).to.equal(false);
    expect(s.brackets(at(45), 5)).to.equal(true);
  });
});

describe('a set held against a reference', () => {
  const utc = (terminal: string, t: number) => readAt(terminal, { atUs: at(t), against: 'utc' });
  const stream = streamOf(referenceAt(at(0)), referenceAt(at(1)));

  it(`gives back the angle of the IEEE 13-node solution (OpenDSS) at ${GRID_HZ} Hz, whatever the instant`, () => {
    for (const t of [0, 0.13, 0.5, 0.97]) {
      const { conductors } = alignSet(
        [{ terminal: '671/2', readings: [utc('671/2', t)] }],
        frame,
        alignWith({ SUB: stream }),
        true,
      );
      const [sample] = conductors[0]!.readings;
      const expected = solved.get('671/B')!.angleDeg - solved.get('650/A')!.angleDeg;
      expect((sample as { relativeDeg: number }).relativeDeg).to.be.closeTo(expected, 1e-6);
    }
  });

  it('uses one reference for all: the one that serves most', () => {
    const other = streamOf(
      ...[9, 11].map((t) => readAt('650/A', { atUs: at(t), against: 'utc', over: { terminal: 'other' } as never })),
    );
    const set = [
      { terminal: '671/1', readings: [utc('671/1', 0.5), utc('671/1', 10)] },
      { terminal: '671/2', readings: [utc('671/2', 10)] },
    ];
    const { conductors, unaligned } = alignSet(set, frame, alignWith({ SUB: stream, OTHER: other }), false);
    const used = conductors.flatMap((c) => c.readings.map((s) => ('reference' in s ? s.reference : 'utc')));
    expect(used).to.deep.equal(['utc', 'OTHER', 'OTHER']);
    expect([...unaligned.values()][0]!.map((r) => r.code)).to.deep.equal(['reference-too-old']);
  });

  it('leaves a set against UTC when not all of it can be aligned and angles are to be compared with each other', () => {
    const set = [
      { terminal: '671/1', readings: [utc('671/1', 0.5)] },
      { terminal: '671/2', readings: [utc('671/2', 30)] },
    ];
    const { conductors, unaligned } = alignSet(set, frame, alignWith({ SUB: stream }), true);
    expect(conductors).to.deep.equal(set);
    expect(unaligned.size).to.equal(1);
  });

  it('says why in the place of "not aligned"', () => {
    const set = [{ terminal: '671/1', readings: [utc('671/1', 30)] }];
    const { unaligned } = alignSet(set, frame, alignWith({ SUB: stream }), false);
    const reasons = [
      { code: 'not-aligned', why: '' },
      { code: 'battery-low', why: '' },
    ];
    expect(withAlignmentReasons(reasons, unaligned).map((r) => r.code)).to.deep.equal([
      'reference-too-old',
      'battery-low',
    ]);
    expect(withAlignmentReasons([reasons[1]!], unaligned)).to.deep.equal([reasons[1]]);
  });
});
