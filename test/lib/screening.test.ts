import { expect } from 'chai';
import { InstrumentSequences, makeFrame, problemsOf, Screen, turnedAside } from '../../lib';
import { passes } from '../../lib/screening';
import { read } from './readings';

const frame = makeFrame();
const counted = (sequence: number, atS: number, id = 'P') => read('t', 1, { atS, instrument: { id, sequence } });

describe('instruments that count their readings', () => {
  it('show which have not come', () => {
    const s = new InstrumentSequences();
    expect(s.notice(counted(7, 0))).to.equal(undefined);
    expect(s.notice(counted(8, 1))).to.equal(undefined);
    expect(s.notice(counted(12, 2))!.why).to.equal('readings 9 to 11 have not come from instrument P');
    expect(s.notice(counted(14, 3))!.why).to.equal('reading 13 has not come from instrument P');
  });
  it('may deliver some late, and may begin to count anew', () => {
    const s = new InstrumentSequences();
    for (const [sequence, atS] of [
      [5, 5],
      [4, 4],
      [6, 6],
      [0, 7],
      [1, 8],
    ] as const)
      expect(s.notice(counted(sequence, atS)), `${sequence}`).to.equal(undefined);
  });
  it('are told apart, and those that do not count show nothing', () => {
    const s = new InstrumentSequences();
    expect([counted(1, 0), counted(9, 1, 'Q'), read('t', 1), counted(2, 2)].map((r) => s.notice(r))).to.deep.equal([
      undefined,
      undefined,
      undefined,
      undefined,
    ]);
  });
  it('are remembered within bounds, the longest unheard forgotten first', () => {
    const s = new InstrumentSequences();
    const one = read('t', 1);
    for (let i = 0; i <= 10_000; i++) s.notice({ ...one, instrument: { id: `P${i}`, sequence: 1 } });
    expect(s.notice(counted(9, 1, 'P0'))).to.equal(undefined);
    expect(s.notice(counted(9, 1, 'P10000'))!.code).to.equal('sequence-gap');
  });
});

describe('the screen', () => {
  it('refuses a measurement that came before under another id, whatever its fitness', () => {
    const judged = new Screen().judge(read('t', 1), { frame }, 'duplicate');
    expect([judged.grade, judged.reasons[0]!.code]).to.deep.equal(['refused', 'duplicate']);
    expect(Object.values(judged.uses)).to.deep.equal([false, false, false]);
  });

  it('passes by grade', () => {
    const grade = (g: 'good' | 'usable' | 'refused') => ({
      ...new Screen().judge(read('t', 1), { frame }, 'new'),
      grade: g,
    });
    const told = (leastGrade: 'usable' | 'good') =>
      (['good', 'usable', 'refused'] as const).map((g) => passes(grade(g), { leastGrade }));
    expect(told('usable')).to.deep.equal([true, true, false]);
    expect(told('good')).to.deep.equal([true, false, false]);
  });

  it('makes a rejection of the contract that points at what was wrong and is the same each time', () => {
    const reading = read('a/1', 1, { instrument: { id: 'P', selfTest: 'fail', batteryPct: 3 } });
    const judged = new Screen().judge(reading, { frame }, 'new');
    const rejection = turnedAside(reading, judged, 'readings/a');
    expect(problemsOf('rejection', rejection)).to.deep.equal([]);
    expect(rejection.problems.map((p) => [p.at, p.code])).to.deep.equal([
      ['/instrument/selfTest', 'self-test-failed'],
      ['/instrument/batteryPct', 'battery-low'],
    ]);
    expect([rejection.stage, rejection.terminal, rejection.from]).to.deep.equal(['screen', 'a/1', [reading.id]]);
    expect(JSON.parse(rejection.excerpt)).to.deep.equal(reading);
    expect(turnedAside(reading, judged, 'elsewhere').id).to.equal(rejection.id);
  });
});
