import { expect } from 'chai';
import type { Ledger, StoredReading } from '../../nodes/ledger/ledger';
import type { DoorOutput, Item, Outgoing } from '../../nodes/readings-in/door-contract';
import { OwnFeed } from '../../nodes/readings-in/own-feed';
import { type Stored, Storing } from '../../nodes/readings-in/storing';
import { reading } from './ledger-samples';

const item: Item = { topic: 't', bytes: Buffer.from('{}'), receivedAtUs: 0, retain: false };

/** A ledger that holds these and fails when it is asked for a page the second time. */
function failingAtSecondPage(stored: readonly StoredReading[]): Ledger {
  let asked = 0;
  const ledger: Partial<Ledger> = {
    cursor: async () => 0,
    async readingsAfter(seq: number, limit: number) {
      if (++asked === 2) throw new Error('away');
      return stored.filter((one) => one.seq > seq).slice(0, limit);
    },
  };
  return ledger as Ledger;
}

describe('what was stored is sent from memory', () => {
  it('all of it, once, when the ledger goes away again while it is asked what was sent', async () => {
    const readings = Array.from({ length: 700 }, (_, i) => reading(`s/${i}`, i));
    const inLedger = readings.map((one, i) => ({ seq: i + 1, reading: one }));
    const ledger = failingAtSecondPage(inLedger);
    const sent: Outgoing[] = [];
    const output: DoorOutput = {
      readings: (some) => void sent.push(...some),
      rejections: () => undefined,
      trouble: (error) => expect.fail(error.message),
    };
    const storing = new Storing<Item>(
      async () => ledger,
      'd',
      () => false,
    );
    const feed = new OwnFeed({ id: 'd', settleMs: 1000 }, storing, output, () => false);
    // The first hundred were stored by a write of which nobody heard, and are not of this batch.
    const taken = { readings: readings.slice(100), texts: [], rejection: undefined };
    const places = inLedger.slice(100).map(({ seq }) => ({ seq, isNew: false }));
    const stored: Stored<Item>[] = [{ item, taken, places }];
    await feed.committed({ stored, hadTrouble: true });
    expect(sent.map(({ seq }) => seq)).to.deep.equal(inLedger.map(({ seq }) => seq));
  });
});
