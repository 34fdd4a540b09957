/** The ledger that takes nothing for a while, told in the log of readings in: once when it begins, once when it is over. */
import type { Node, NodeAPI } from 'node-red';
import { Outage } from '../kit/outage';
import type { Door } from './door';
import { SLOW_MS } from './face';

export function ledgerOutage(RED: NodeAPI, node: Node, door: Door): { look(): void; close(): void } {
  const text = (key: string, values: Record<string, string | number>) =>
    RED._(`phaseloom-readings-in.log.${key}`, values);
  const outage = new Outage({
    began: (why) => node.warn(text('ledger-away', { why: why || text('ledger-slow', {}) })),
    ended: (figures) => node.log(text('ledger-back', figures)),
  });
  let asking = false;
  const ask = async () => {
    asking = true;
    const why = await door.ledgerTrouble().catch((cause: Error) => cause.message);
    asking = false;
    const { waitsMs } = door.storing;
    if (waitsMs > SLOW_MS) outage.goesOn(why, door.pending, waitsMs);
  };
  return {
    look() {
      if (door.storing.waitsMs <= SLOW_MS) outage.over();
      else if (!asking) void ask();
    },
    close: () => outage.close(),
  };
}
