import { expect } from 'chai';
import { conditionsOf } from '../../lib/alert-rules';
import { Desk, type DeskOptions } from '../../nodes/alert-desk/desk';
import type { AlertQuery } from '../../nodes/ledger/ledger';
import { SqliteLedger } from '../../nodes/ledger/sqlite/sqlite-ledger';
import { comparisonAt } from './alert-samples';

const options: DeskOptions = {
  nowUs: () => Date.now() * 1000,
  delays: { onS: 0, offS: 0 },
  tell: () => [],
  saved: () => undefined,
  trouble: (cause) => expect.fail(cause.message),
};

/** A ledger that counts how often it is asked for alerts. */
class CountingLedger extends SqliteLedger {
  asked = 0;
  override alerts(query?: AlertQuery) {
    this.asked++;
    return super.alerts(query);
  }
}

describe('conditions on one key that come thick and fast', () => {
  let ledger: CountingLedger;
  let desk: Desk;
  beforeEach(async () => {
    ledger = new CountingLedger({ file: ':memory:' });
    await ledger.open();
    desk = new Desk(ledger, options);
  });
  afterEach(async () => {
    await desk.close();
    await ledger.close();
  });

  const said = (atS: number, verdict: 'same-phase' | 'not-the-same-phase') =>
    conditionsOf(comparisonAt(atS, 'P', verdict)).map((condition) => ({ condition, cause: () => ({}) }));
  const all = async (begun: Promise<readonly (Promise<unknown> | undefined)[]>) => Promise.all(await begun);
  const transitions = async () => (await ledger.alertHistory('tie-mismatch:P')).map(({ transition }) => transition);

  it('are not asked for one by one while another has its turn and there is no alert', async () => {
    const first = desk.condition(said(0, 'same-phase')[0]!.condition);
    const rest = Array.from({ length: 200 }, (_, i) => all(desk.conditions(said(i + 1, 'same-phase'))));
    await Promise.all([first, ...rest]);
    const before = ledger.asked;
    const later = desk.condition(said(300, 'same-phase')[0]!.condition);
    await Promise.all([
      later,
      ...Array.from({ length: 200 }, (_, i) => all(desk.conditions(said(301 + i, 'same-phase')))),
    ]);
    expect(ledger.asked - before).to.equal(0);
    expect(await transitions()).to.deep.equal([]);
  });

  it('are not asked for one by one when there was an alert and it is over', async () => {
    for (const [i, verdict] of (['not-the-same-phase', 'same-phase'] as const).entries()) {
      await all(desk.conditions(said(i, verdict)));
    }
    await desk.act('tie-mismatch:P', { action: 'acknowledge', by: 'ada' });
    expect((await ledger.alerts())[0]).to.include({ state: 'normal' });
    const before = ledger.asked;
    await Promise.all(Array.from({ length: 200 }, (_, i) => all(desk.conditions(said(i + 2, 'same-phase')))));
    expect(ledger.asked - before).to.equal(0);
    expect(await transitions()).to.deep.equal(['raised', 'returned', 'acknowledged']);
  });

  it('go on from what another desk on the same ledger made of them, heard of or not', async () => {
    const other = new Desk(ledger, options);
    await all(desk.conditions(said(0, 'same-phase')));
    await all(other.conditions(said(1, 'not-the-same-phase')));
    await all(desk.conditions(said(2, 'not-the-same-phase')));
    await all(other.conditions(said(3, 'same-phase')));
    for (const alert of await ledger.alerts()) desk.heard(alert);
    await all(desk.conditions(said(4, 'not-the-same-phase')));
    await other.close();
    expect(await transitions()).to.deep.equal(['raised', 'returned', 'raised']);
  });

  it('keep their order: what clears waits for what raised just before, and is not passed over', async () => {
    await all(desk.conditions(said(0, 'same-phase')));
    await Promise.all([
      desk.condition(said(1, 'not-the-same-phase')[0]!.condition),
      desk.condition(said(2, 'same-phase')[0]!.condition),
      all(desk.conditions(said(3, 'same-phase'))),
    ]);
    expect(await transitions()).to.deep.equal(['raised', 'returned']);
    expect((await ledger.alerts())[0]).to.include({ active: false, state: 'returned-unacknowledged' });
  });
});
