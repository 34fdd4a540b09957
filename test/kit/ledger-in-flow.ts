/** A ledger in a flow under test: what the front door would have put into it. */
import type { Finding, Reading, Rejection } from '../../lib/records';
import type { Ledger, LedgerNode } from '../../nodes/ledger/ledger';
import type { Rig } from './node-red';

let files = 0;

/** A ledger config node with a file of its own. */
export const newLedger = () => ({
  id: 'ledger',
  type: 'phaseloom-ledger',
  file: `test-${++files}.sqlite`,
  durability: 'normal',
});

export const ledgerOf = (rig: Rig): Promise<Ledger> => (rig.node('ledger') as LedgerNode).ready();

/** Stores readings as the front door does, and gives the messages that it would send. */
export async function admitted(rig: Rig, ...readings: readonly Reading[]) {
  const ledger = await ledgerOf(rig);
  const receivedAtUs = Date.now() * 1000;
  const { readings: places } = await ledger.admit(
    readings.map((reading) => ({ reading, source: 'test', receivedAtUs })),
    [],
  );
  return readings.map((reading, i) => ({ payload: reading, reading, phaseloom: { seq: places[i]!.seq } }));
}

/** Findings and rejections of a kind, oldest first, superseded ones included. */
export async function kept<T extends Finding | Rejection>(
  rig: Rig,
  kind: T['kind'],
  currentOnly = false,
): Promise<T[]> {
  const { records } = await (await ledgerOf(rig)).records({ kinds: [kind], currentOnly });
  return records as T[];
}
