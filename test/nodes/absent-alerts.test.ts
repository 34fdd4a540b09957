import { expect } from 'chai';
import { Absent } from '../../nodes/alert-desk/absent';
import type { Ledger } from '../../nodes/ledger/ledger';

/** A ledger that holds these alerts, and notes what it was asked; what it answers was so when it was asked. */
function ledgerOf(stored: Set<string>, more: object = {}) {
  const asked: string[][] = [];
  const alerts = async ({ keys }: { keys: readonly string[] }) => {
    asked.push([...keys]);
    const found = keys.filter((key) => stored.has(key)).map((key) => ({ key }));
    await new Promise((answer) => setImmediate(answer));
    return found;
  };
  return { asked, absent: new Absent({ alerts, ...more } as unknown as Ledger) };
}

describe('keys without an alert', () => {
  it('are asked for once, and those with one each time', async () => {
    const { asked, absent } = ledgerOf(new Set(['b']));
    for (let i = 0; i < 3; i++) expect([...(await absent.known(['a', 'b', 'c']))]).to.deep.equal(['b']);
    expect([...(await absent.known(['a', 'c']))]).to.deep.equal([]);
    expect(asked).to.deep.equal([['a', 'b', 'c'], ['b'], ['b']]);
  });

  it('are asked for again when an alert was saved under them', async () => {
    const stored = new Set<string>();
    const { absent } = ledgerOf(stored);
    await absent.known(['a']);
    stored.add('a');
    absent.saved('a');
    expect([...(await absent.known(['a']))]).to.deep.equal(['a']);
  });

  it('are not remembered from an answer during which something was saved', async () => {
    const stored = new Set<string>();
    const { absent } = ledgerOf(stored);
    const answer = absent.known(['a']);
    stored.add('a');
    absent.saved('a');
    expect([...(await answer)]).to.deep.equal([]);
    expect([...(await absent.known(['a']))]).to.deep.equal(['a']);
  });

  it('are always asked for where other workers write as well', async () => {
    const { asked, absent } = ledgerOf(new Set(), { sharing: {} });
    await absent.known(['a']);
    await absent.known(['a']);
    expect(asked).to.have.length(2);
  });
});
