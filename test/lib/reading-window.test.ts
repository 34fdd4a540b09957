import { expect } from 'chai';
import fc from 'fast-check';
import { ReadingWindow, setAt } from '../../lib';
import { instantsTouched, isTold } from '../../lib/reading-sets';
import { NOON_US, read } from './readings';

const us = (s: number) => NOON_US + s * 1e6;
const seconds = (w: ReadingWindow, terminal: string) =>
  w.between(terminal, 0, Number.POSITIVE_INFINITY).map((p) => (p.us - NOON_US) / 1e6);

describe('the window of recent readings', () => {
  it('keeps readings in the order in which they were taken, whatever the order in which they came', () => {
    const taken = [0, 1, 2, 3, 4, 5, 6, 7];
    fc.assert(
      fc.property(fc.shuffledSubarray(taken, { minLength: 8 }), (order) => {
        const w = new ReadingWindow();
        for (const atS of order) expect(w.add(read('t', 10 + atS, { atS }))).to.equal('new');
        expect(seconds(w, 't')).to.deep.equal(taken);
      }),
      { seed: 1 },
    );
  });

  it('covers no time at all of a terminal it never met', () => {
    const w = new ReadingWindow();
    expect(w.covers('t', Number.POSITIVE_INFINITY)).to.equal(false);
    w.fill('t', []);
    expect(w.covers('t', Number.NEGATIVE_INFINITY)).to.equal(true);
  });

  it('gives the corrected reading in place of the one written down wrong, in whatever order they come, of the same instrument only', () => {
    const instrument = { id: 'P' };
    const wrong = read('t', 120, { instrument });
    const right = read('t', 12, { instrument, corrects: wrong.id });
    const foreign = read('t', 13, { instrument: { id: 'Q' }, corrects: right.id });
    for (const order of [
      [wrong, right],
      [right, wrong],
    ]) {
      const w = new ReadingWindow();
      for (const reading of order) w.add(reading);
      expect(w.between('t', 0, Number.POSITIVE_INFINITY).map((p) => p.reading)).to.deep.equal([right]);
      w.add(foreign);
      expect(w.between('t', 0, Number.POSITIVE_INFINITY).map((p) => p.reading)).to.have.members([right, foreign]);
    }
    const filled = new ReadingWindow();
    filled.fill('t', [right, wrong]);
    expect(filled.between('t', 0, Number.POSITIVE_INFINITY).map((p) => p.reading)).to.deep.equal([right]);
  });

  it('tells a reading that comes again, and a measurement that comes under another id', () => {
    const w = new ReadingWindow();
    const first = read('t', 10, { instrument: { id: 'P' } });
    expect(w.add(first)).to.equal('new');
    expect(w.add({ ...first })).to.equal('again');
    expect(w.add(read('t', 10, { instrument: { id: 'P' }, note: 'sent twice' }))).to.equal('duplicate');
    expect(w.add(read('t', 10, { instrument: { id: 'Q' } }))).to.equal('new');
    expect(seconds(w, 't')).to.have.length(2);
  });

  it('knows a reading from a store until it comes itself', () => {
    const w = new ReadingWindow();
    const r = read('t', 10);
    w.fill('t', [r]);
    expect(w.add(r)).to.equal('fetched');
    expect(w.add(r)).to.equal('again');
  });

  it('says from when on it holds everything: to the beginning, to what the store gave, to what was dropped', () => {
    const w = new ReadingWindow({ perTerminal: 2 });
    expect(w.covers('t', us(0))).to.equal(false);
    w.fill('t', [read('t', 1, { atS: 10 })], us(10));
    expect(w.covers('t', us(9))).to.equal(false);
    expect(w.covers('t', us(10))).to.equal(true);
    w.add(read('t', 2, { atS: 20 }));
    w.add(read('t', 3, { atS: 30 }));
    expect(seconds(w, 't')).to.deep.equal([20, 30]);
    expect(w.covers('t', us(10))).to.equal(false);
    expect(w.covers('t', us(11))).to.equal(true);
  });

  it('forgets the terminal that was longest not read', () => {
    const w = new ReadingWindow({ terminals: 2 });
    for (const t of ['a', 'b']) w.add(read(t, 1));
    w.add(read('a', 2, { atS: 1 }));
    w.add(read('c', 1));
    expect([w.covers('a', 0), w.covers('b', 0), w.covers('c', 0)]).to.deep.equal([true, false, true]);
  });
});

describe('the set of readings at an instant', () => {
  const rule = { terminals: ['a', 'b'], windowS: 100, combineS: 10 };
  const windowOf = (...readings: ReturnType<typeof read>[]) => {
    const w = new ReadingWindow();
    for (const r of readings) w.add(r);
    return w;
  };
  const told = (w: ReadingWindow, atS: number) =>
    setAt(w, rule, us(atS)).conductors.map((c) => [c.terminal, ...c.readings.map((r) => r.angleDeg)]);

  it('holds the last angle of each terminal until then, and those shortly before it', () => {
    const w = windowOf(
      read('a', 1, { atS: 0 }),
      read('a', 2, { atS: 5 }),
      read('a', 3, { atS: 50 }),
      read('b', 7, { atS: 20 }),
    );
    expect(told(w, 20)).to.deep.equal([
      ['a', 1, 2],
      ['b', 7],
    ]);
    expect(told(w, 50)).to.deep.equal([
      ['a', 3],
      ['b', 7],
    ]);
    expect(told(w, 4)).to.deep.equal([['a', 1]]);
    expect(told(w, 121)).to.deep.equal([['a', 3]]);
    expect(setAt(w, rule, us(20)).complete).to.equal(true);
    expect(setAt(w, rule, us(121)).complete).to.equal(false);
  });

  it('combines only what was read against the same thing, and lets a voltage go with it', () => {
    const w = windowOf(
      read('a', 1, { atS: 0, against: 'utc' }),
      read('a', 2, { atS: 1 }),
      read('a', undefined, { atS: 2, voltageV: 7200 }),
    );
    expect(setAt(w, rule, us(2)).conductors[0]!.readings.map((r) => r.angleDeg ?? r.voltageV)).to.deep.equal([2, 7200]);
  });

  it('is incomplete when a terminal has only a voltage', () => {
    const w = windowOf(read('a', 1), read('b', undefined, { voltageV: 7200 }));
    expect(setAt(w, rule, us(0)).complete).to.equal(false);
  });

  it('ends with the same sets in whatever order readings come, when those touched are made anew', () => {
    const all = [0, 3, 8, 30, 31, 45, 90, 130].map((atS, i) => read(i % 2 ? 'a' : 'b', 10 + i, { atS }));
    const made = (order: readonly (typeof all)[number][]) => {
      const w = new ReadingWindow();
      const last = new Map<number, string>();
      for (const r of order) {
        w.add(r);
        for (const at of instantsTouched(w, rule, Date.parse(r.takenAt) * 1000)) {
          last.set(at, JSON.stringify(setAt(w, rule, at).conductors.map((c) => c.readings.map((x) => x.id))));
        }
      }
      return [...last].sort(([a], [b]) => a - b);
    };
    const inOrder = made(all);
    fc.assert(
      fc.property(fc.shuffledSubarray(all, { minLength: all.length }), (order) => {
        expect(made(order)).to.deep.equal(inOrder);
      }),
      { seed: 2 },
    );
  });

  it('says that it holds enough only where a window that forgets nothing gives the same set', () => {
    const step = fc.record({
      terminal: fc.constantFrom('a', 'b'),
      afterS: fc.integer({ min: 0, max: 8 }),
      what: fc.constantFrom('angle', 'angle', 'other reference', 'voltage'),
    });
    let told = 0;
    let untold = 0;
    fc.assert(
      fc.property(fc.array(step, { minLength: 30, maxLength: 120 }), fc.integer({ min: 8, max: 20 }), (steps, kept) => {
        const small = new ReadingWindow({ perTerminal: kept });
        const whole = new ReadingWindow({ perTerminal: 1000 });
        const rule = { terminals: ['a', 'b'], windowS: 900, combineS: 60 };
        let atS = 0;
        for (const [i, { terminal, afterS, what }] of steps.entries()) {
          atS += afterS;
          const made = read(terminal, i % 180, { atS, against: what === 'other reference' ? 'X' : 'utc' });
          const { angleDeg: _angle, against: _against, ...plain } = made;
          const reading = what === 'voltage' ? ({ ...plain, voltageV: 7000 + i } as typeof made) : made;
          for (const w of [small, whole]) for (const t of rule.terminals) w.fill(t, []);
          const isEnough = isTold(small, rule, reading, us(atS));
          small.add(reading);
          whole.add(reading);
          if (isEnough) expect(setAt(small, rule, us(atS))).to.deep.equal(setAt(whole, rule, us(atS)));
          if (isEnough && !small.covers(terminal, us(atS - 900))) told++;
          if (!isEnough) untold++;
        }
      }),
      { seed: 7, numRuns: 200 },
    );
    expect(told, 'sets told without reaching back').to.be.greaterThan(100);
    expect(untold, 'sets that could not be told').to.be.greaterThan(100);
  });
});
