import { expect } from 'chai';
import type { Alert } from '../../lib/records';
import { KnownAlerts } from '../../nodes/alert-desk/known-alerts';
import type { Ledger } from '../../nodes/ledger/ledger';

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
    stored.set('b', alert('b'));
    known.forget('b');
    expect((await answer).size).to.equal(0);
    expect(await revisions(known, ['a', 'b'])).to.deep.equal([['b', 1]]);
  });

  it('are as saved while the ledger was asked', async () => {
    const { known } = ledgerOf([]);
    const answer = known.of(['a']);
    known.saved(alert('a'));
    expect([...(await answer).keys()]).to.deep.equal(['a']);
  });

  it('are always asked for where other workers write as well', async () => {
    const { asked, known } = ledgerOf([alert('b')], { sharing: {} });
    known.saved(alert('b', 7));
    for (let i = 0; i < 2; i++) expect(await revisions(known, ['a', 'b'])).to.deep.equal([['b', 1]]);
    expect(asked).to.have.length(2);
  });
});
