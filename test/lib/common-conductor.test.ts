import { expect } from 'chai';
import { commonReadings, commonReadingsOf, ReadingWindow, setAt } from '../../lib';
import { NOON_US, read } from './readings';

const by = (id: string, terminal: string, atS: number) => read(terminal, atS / 10, { atS, instrument: { id } });
const left = [by('P', 'l/1', 100), by('P', 'l/2', 110)];
const right = [by('Q', 'r/1', 105), by('Q', 'r/2', 120)];
const instants = (found: ReturnType<typeof commonReadings>) =>
  found && [...found.before, ...found.after].map((r) => Number(r.angleDeg) * 10);

describe('the readings of a common conductor', () => {
  const common = [
    by('P', 'c', 20),
    by('Q', 'c', 21),
    by('P', 'c', 90),
    by('Q', 'c', 91),
    by('Q', 'c', 110),
    by('P', 'c', 130),
    by('Q', 'c', 131),
    by('P', 'c', 140),
  ];
  it('are the last before and the first after, by each of the two instruments', () =>
    expect(instants(commonReadings(common, left, right))).to.deep.equal([90, 91, 130, 131]));
  it('are wanting until both instruments were there before and after', () => {
    expect(commonReadings(common.slice(0, 6), left, right)).to.equal(undefined);
    expect(
      commonReadings(
        common.filter((r) => r.instrument!.id === 'P'),
        left,
        right,
      ),
    ).to.equal(undefined);
  });
  it('are wanting when a side was read by two instruments', () =>
    expect(commonReadings(common, [...left, by('R', 'l/3', 101)], right)).to.equal(undefined));
  it('count as known at the instant of the set, and not from before the window', () => {
    const w = new ReadingWindow();
    for (const r of [...common, ...left, ...right]) w.add(r);
    const point = { id: 'o', left: ['l/1', 'l/2'], right: ['r/1', 'r/2'], proofTerminal: 'c' };
    const rule = { terminals: [...point.left, ...point.right], windowS: 60, combineS: 10 };
    const at = (s: number, windowS: number) => commonReadingsOf(point, setAt(w, rule, NOON_US + s * 1e6), w, windowS);
    expect(instants(at(131, 60))).to.deep.equal([90, 91, 130, 131]);
    expect(at(130, 60)).to.equal(undefined);
    expect(at(131, 9)).to.equal(undefined);
  });
});
