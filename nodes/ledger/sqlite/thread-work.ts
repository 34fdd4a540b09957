/** The thread on which SQLite writes, and answers what the flow must know at once. */
import { parentPort, workerData } from 'node:worker_threads';
import type { Finding, Rejection } from '../../../lib/records';
import type { Delivery } from '../ledger';
import { Answering } from './answering';
import { SqliteLedger } from './sqlite-ledger';
import { type Call, packPlaces, type ThreadOrders } from './thread-talk';

const orders = workerData as ThreadOrders;
let retainDays = orders.retainDays;
const ledger = new SqliteLedger({ file: orders.file, durability: orders.durability, retainDays: () => retainDays });

async function perform(call: Call): Promise<unknown> {
  switch (call.do) {
    case 'admit':
      return packPlaces(await ledger.admitCells(call.cells, JSON.parse(call.rejections) as Rejection[]));
    case 'keep':
      return ledger.keep(JSON.parse(call.body) as Finding | Rejection, call.how, call.body);
    case 'enqueue':
      return ledger.enqueue(JSON.parse(call.body) as Delivery[]);
    case 'retain':
      retainDays = call.days;
      return undefined;
    default:
      return (ledger[call.do] as (...args: readonly unknown[]) => unknown)(...call.args);
  }
}

const answering = new Answering(parentPort!, perform, () => ledger.clockUs());
ledger.onCommit((records) => answering.tellStored(records.map(({ id }) => id)));
