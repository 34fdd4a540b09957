import { expect } from 'chai';
import { takenAtUs } from '../../lib/reading';
import type { Reading } from '../../lib/records';
import { RecentReadings } from '../../nodes/kit/recent-readings';
import { SqliteLedger } from '../../nodes/ledger/sqlite/sqlite-ledger';
import { admitted, reading, rejection } from './ledger-samples';

describe('recent readings of terminals', () => {
  let ledger: SqliteLedger;
  /** the terminals of each question */
  let asked: (readonly string[])[];
  let recent: RecentReadings;
  beforeEach(async () => {
    ledger = new SqliteLedger({ file: ':memory:' });
    await ledger.open();
    asked = [];
    const heard = new Proxy(ledger, {
      get: (target, verb) => {
        const value = Reflect.get(target, verb) as unknown;
        if (typeof value !== 'function') return value;
        return (...args: unknown[]) => {
          if (verb === 'latestReadings') asked.push([...(args[0] as string[])]);
          return (value as (...a: unknown[]) => unknown).apply(target, args);
        };
      },
    });
    recent = new RecentReadings({ ready: async () => heard });
  });
  afterEach(() => ledger.close());

  const over = async (r: Reading) => {
    const us = takenAtUs(r);
    return recent.over({ reading: r, seq: undefined, terminals: [r.terminal], fromUs: us - 60e6, toUs: us });
  };
  const known = async (r: Reading) =>
    (await over(r)).between(r.terminal, takenAtUs(r) - 60e6, takenAtUs(r)).map((placed) => placed.reading.id);

  it('of many terminals met within a turn are asked for a hundred at a time, each terminal once', async () => {
    const first = Array.from({ length: 250 }, (_, n) => reading(`s/${n}`, 0));
    await ledger.admit(first.map(admitted), []);
    const found = await Promise.all(Array.from({ length: 250 }, (_, n) => known(reading(`s/${n}`, 1))));
    expect(found).to.deep.equal(first.map(({ id }) => [id]));
    expect(asked.map((terminals) => terminals.length)).to.deep.equal([100, 100, 50]);
    expect(new Set(asked.flat()).size).to.equal(250);
    await known(reading('s/7', 2));
    expect(asked, 'it is in memory now').to.have.length(3);
  });

  it('leave out those that a screen turned aside, at that terminal and its neighbours in one question', async () => {
    const kept = [reading('s/1', 0), reading('s/1', 1), reading('s/2', 0)] as const;
    await ledger.admit(kept.map(admitted), []);
    await ledger.keep(rejection('s/1', 1, { stage: 'screen', from: [kept[1].id] }));
    const found = await Promise.all([known(reading('s/1', 2)), known(reading('s/2', 2)), known(reading('s/3', 2))]);
    expect(found).to.deep.equal([[kept[0].id], [kept[2].id], []]);
    expect(asked).to.deep.equal([['s/1', 's/2', 's/3']]);
  });
});
