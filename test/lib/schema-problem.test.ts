import { expect } from 'chai';
import { WaveReader } from '../../lib';

describe('what a schema problem shows of a value', () => {
  const problemOf = (terminal: unknown) => {
    const read = new WaveReader(60).read({ terminal, rateHz: 6400, firstAt: '2026-05-04T10:15:30Z', samples: [0] });
    if (read.ok) throw new Error('that is no terminal');
    return read.problems[0]!.what;
  };

  it('says what came, also when JSON cannot', () => {
    const self: Record<string, unknown> = {};
    self.self = self;
    expect(problemOf(12n)).to.match(/^12 must be string/);
    expect(problemOf(self)).to.match(/^an object that cannot be written as JSON must be string/);
    expect(problemOf([1n])).to.match(/^an array that cannot be written as JSON must be string/);
  });
});
