import { expect } from 'chai';
import { conditionsOf } from '../../lib/alert-rules';
import { Desk } from '../../nodes/alert-desk/desk';
import { SqliteLedger } from '../../nodes/ledger/sqlite/sqlite-ledger';
import { comparisonAt } from './alert-samples';

const HOUR_MS = 3_600_000;
const DELAYS = { onS: 0.4, offS: 0.4 };

describe('the delays of the alert desk, when the clock of the machine is set', () => {
  let shiftMs: number;
  let ledger: SqliteLedger;
  let desk: Desk;
  const troubles: Error[] = [];
  beforeEach(async () => {
    shiftMs = 0;
    ledger = new SqliteLedger({ file: ':memory:' });
    await ledger.open();
    desk = new Desk(ledger, {
      nowUs: () => (Date.now() + shiftMs) * 1000,
      delays: DELAYS,
      tell: () => [],
      saved: () => undefined,
      trouble: (cause) => troubles.push(cause),
    });
  });
  afterEach(async () => {
    await desk.close();
    await ledger.close();
    expect(troubles).to.deep.equal([]);
  });

  const say = async (atS: number, verdict: 'same-phase' | 'not-the-same-phase') => {
    for (const condition of conditionsOf(comparisonAt(atS, 'P', verdict))) await desk.condition(condition);
  };
  const state = async () => (await ledger.alerts())[0]?.state;
  const becomes = async (wanted: string) => {
    for (let i = 0; (await state()) !== wanted && i < 200; i++) await new Promise((r) => setTimeout(r, 50));
    expect(await state()).to.equal(wanted);
  };

  for (const [name, ms] of [
    ['back by an hour', -HOUR_MS],
    ['forward by an hour', HOUR_MS],
  ] as const) {
    it(`${name}: are over when they would have been`, async () => {
      await say(0, 'not-the-same-phase');
      expect(await state(), 'the delay before raising runs').to.equal('normal');
      shiftMs += ms;
      await desk.takeUp(60_000);
      await becomes('unacknowledged');
      await say(1, 'same-phase');
      await becomes('returned-unacknowledged');
      const times = (await ledger.alertHistory('tie-mismatch:P')).map(({ transition }) => transition);
      expect(times).to.include.members(['raised', 'returned']);
    });
  }
});
