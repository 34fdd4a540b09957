import { expect } from 'chai';
import type { Admission, AdmittedReading, Ledger, LedgerNode } from '../../nodes/ledger/ledger';
import { Door } from '../../nodes/readings-in/door';
import type { DoorOutput, EntryOutcome } from '../../nodes/readings-in/door-contract';
import { take } from '../../nodes/readings-in/intake';
import { reading } from './ledger-samples';

const LIMITS = { batchSize: 1, lingerMs: 0, window: 10, settleMs: 1000, gatherMs: 0, maxEntries: 100 };

/** A ledger that has room for everything. */
function willing(): LedgerNode {
  let seq = 0;
  const ledger: Partial<Ledger> = {
    cursor: async () => 0,
    advance: async () => undefined,
    readingsAfter: async () => [],
    admit: async (readings: readonly AdmittedReading[]): Promise<Admission> => ({
      readings: readings.map(() => ({ seq: ++seq, isNew: true })),
    }),
  };
  const node: Partial<LedgerNode> = { ready: async () => ledger as Ledger, use: () => () => undefined };
  return node as LedgerNode;
}

describe('door', () => {
  it('makes a rejection of a message whose reading fails, and reads on', async () => {
    const output: DoorOutput = { readings: () => undefined, rejections: () => undefined, trouble: () => undefined };
    const rules = { maxBytes: 10_000, futureToleranceS: 1e9 };
    const door = new Door(
      { ...LIMITS, id: 'd', instance: 'i', takeRetained: true },
      rules,
      async (arrival) => {
        if (arrival.topic === 'bad') throw new Error('a defect');
        return take(arrival, rules);
      },
      willing(),
      output,
    );
    await door.start();
    const enter = (topic: string) =>
      new Promise<EntryOutcome>((stored, failed) => {
        door.enter({ topic, bytes: Buffer.from(JSON.stringify(reading('s/1', 1))) }, { stored, failed });
      });
    const [good, bad, next] = await Promise.all([enter('good'), enter('bad'), enter('good')]);
    expect(bad!.readings).to.deep.equal([]);
    expect(bad!.rejection!.problems[0]).to.include({ code: 'payload-unreadable', what: 'could not be read: a defect' });
    expect([good!.readings.length, next!.readings.length]).to.deep.equal([1, 1]);
    await door.close(false);
  });
});
