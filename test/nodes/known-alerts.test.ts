import { expect } from 'chai';
import type { Alert } from '../../lib/records';
import { KnownAlerts } from '../../nodes/alert-desk/known-alerts';
import type { Ledger } from '../../nodes/ledger/ledger';

const turn = () => new Promise((next) => setImmediate(next));
const alert = (key: string, revision = 1) => ({ key, revision }) as Alert;

/** A ledger that holds these alerts, and notes what it was asked; what it answers was so when it was asked. */
function ledgerOf(alerts: readonly Alert[], more: object = {}) {
  const asked: string[][] = [];
  const stored = new Map(alerts.map((a) => [a.key, a]));
  const ask = async ({ keys }: { keys: readonly string[] }) => {
    asked.push([...keys]);
    const found = keys.flatMap((key) => stored.get(key) ?? []);
    await new Promise((answer) => setImmediate(answer));
    return found;
  };
  return { asked, stored, known: new KnownAlerts({ alerts: ask, ...more } as unknown as Ledger) };
}

const revisions = async (known: KnownAlerts, keys: readonly string[]) =>
  [...(await known.of(keys))].map(([key, { revision }]) => [key, revision]);

describe('alerts known to the desk', () => {
  it('are asked for once, whether there is one or none', async () => {
    const { asked, known } = ledgerOf([alert('b')]);
    for (let i = 0; i < 3; i++) expect(await revisions(known, ['a', 'b', 'a', 'c'])).to.deep.equal([['b', 1]]);
    expect(await revisions(known, ['d', 'b'])).to.deep.equal([['b', 1]]);
    expect(asked).to.deep.equal([['a', 'b', 'c'], ['d']]);
  });

  it('are what was saved last, in whatever order that is heard of', async () => {
    const { asked, known } = ledgerOf([alert('b')]);
    await known.of(['a', 'b']);
    known.saved(alert('a', 1));
    known.saved(alert('b', 3));
    known.saved(alert('b', 2));
    expect(await revisions(known, ['a', 'b'])).to.deep.equal([
      ['a', 1],
      ['b', 3],
    ]);
    expect(asked).to.have.length(1);
  });

  it('are asked for again once forgotten', async () => {
    const { stored, known } = ledgerOf([alert('b')]);
    await known.of(['b']);
    stored.set('b', alert('b', 2));
    known.forget('b');
    expect(await revisions(known, ['b'])).to.deep.equal([['b', 2]]);
  });

  it('are not remembered from an answer during which something was saved', async () => {
    const { stored, known } = ledgerOf([]);
    const answer = known.of(['a', 'b']);
    await turn();
    stored.set('b', alert('b'));
    known.forget('b');
    expect((await answer).size).to.equal(0);
    expect(await revisions(known, ['a', 'b'])).to.deep.equal([['b', 1]]);
  });

  it('are as saved before the ledger was asked, or while it was', async () => {
    for (const isUnderWay of [false, true]) {
      const { known } = ledgerOf([]);
      const answer = known.of(['a']);
      if (isUnderWay) await turn();
      known.saved(alert('a'));
      expect([...(await answer).keys()]).to.deep.equal(['a']);
      expect([...(await known.of(['a'])).keys()]).to.deep.equal(['a']);
    }
  });

  it('are asked for with one question by all who ask within a turn of the event loop', async () => {
    const { asked, known } = ledgerOf([alert('b')]);
    const answers = await Promise.all([known.of(['a', 'b']), known.of(['b', 'c']), known.of(['d'])]);
    expect(answers.map((found) => [...found.keys()])).to.deep.equal([['b'], ['b'], []]);
    expect(asked.map((keys) => [...new Set(keys)])).to.deep.equal([['a', 'b', 'c', 'd']]);
  });

  it('are always asked for where other workers write as well', async () => {
    const { asked, known } = ledgerOf([alert('b')], { sharing: {} });
    known.saved(alert('b', 7));
    for (let i = 0; i < 2; i++) expect(await revisions(known, ['a', 'b'])).to.deep.equal([['b', 1]]);
    expect(asked).to.have.length(2);
  });
});
