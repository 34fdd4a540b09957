/** The thread on which SQLite works: takes calls, answers all that are done within one turn of the event loop together. */
import { parentPort, workerData } from 'node:worker_threads';
import type { Finding, Rejection } from '../../../lib/records';
import { asError } from '../../kit/trouble';
import type { Delivery } from '../ledger';
import { SqliteLedger } from './sqlite-ledger';
import { type Answer, type Answers, type Call, type Calls, packPlaces, type ThreadOrders } from './thread-talk';

const port = parentPort!;
const orders = workerData as ThreadOrders;
let retainDays = orders.retainDays;
const ledger = new SqliteLedger({ file: orders.file, durability: orders.durability, retainDays: () => retainDays });

let stored: string[] = [];
let answers: Answer[] = [];
let isTelling = false;

ledger.onCommit((records) => {
  for (const { id } of records) stored.push(id);
  tell();
});

function tell(): void {
  if (isTelling) return;
  isTelling = true;
  setImmediate(() => {
    isTelling = false;
    port.postMessage({ clockUs: ledger.clockUs(), stored, answers } satisfies Answers);
    stored = [];
    answers = [];
  });
}

async function perform(call: Call): Promise<unknown> {
  switch (call.do) {
    case 'admit':
      return packPlaces(await ledger.admitCells(call.cells, JSON.parse(call.rejections) as Rejection[]));
    case 'keep':
      return ledger.keep(JSON.parse(call.body) as Finding | Rejection, call.how);
    case 'enqueue':
      return ledger.enqueue(JSON.parse(call.body) as Delivery[]);
    case 'retain':
      retainDays = call.days;
      return undefined;
    default:
      return (ledger[call.do] as (...args: readonly unknown[]) => unknown)(...call.args);
  }
}

async function answer(number: number, call: Call): Promise<void> {
  const said = await perform(call).then(
    (value) => ({ value }),
    (cause) => ({ failure: { code: (cause as { code?: string }).code, message: asError(cause).message } }),
  );
  answers.push({ number, ...said });
  tell();
}

port.on('message', ({ first, calls }: Calls) => {
  for (const [i, call] of calls.entries()) void answer(first + i, call);
});
