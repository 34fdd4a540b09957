/** What comes to the desk in messages: findings, rejections and actions of operators. */
import { conditionsOf } from '../../lib/alert-rules';
import type { Finding, Kind, Reading, Rejection } from '../../lib/records';
import { problemsOf } from '../../lib/validate';
import type { FlowMessage } from '../kit/serve';
import { asError, Trouble } from '../kit/trouble';
import { isAction, readAction } from './action';
import type { Desk, Said } from './desk';

const KINDS: readonly Kind[] = ['identification', 'rotation', 'comparison', 'trace', 'rejection'];
const TOLD = 5;

/** Resolves when every transition that the message led to is stored. @throws Trouble that says what was wrong, where */
export async function take(desk: Desk, msg: FlowMessage, nowUs: number): Promise<void> {
  const { payload } = msg;
  if (isAction(payload)) {
    const { key, action } = readAction(payload, nowUs);
    await desk.act(key, action, msg);
    return;
  }
  if (Array.isArray(payload)) return takeBatch(desk, payload, msg);
  const cause = () => msg;
  await Promise.all(
    await desk.conditions(conditionsOf(demandRecord(payload)).map((condition) => ({ condition, cause }))),
  );
}

/** What is wrong with one record does not stop the others. */
async function takeBatch(desk: Desk, records: readonly unknown[], msg: FlowMessage): Promise<void> {
  const troubles: string[] = [];
  const blame = (i: number) => (cause: unknown) => void troubles.push(`[${i}] ${asError(cause).message}`);
  const said: (Said & { readonly i: number })[] = [];
  records.forEach((record, i) => {
    const cause = () => single(msg, i);
    try {
      for (const condition of conditionsOf(demandRecord(record))) said.push({ condition, cause, i });
    } catch (trouble) {
      blame(i)(trouble);
    }
  });
  // All are begun in order before any is awaited, so that the ledger can commit them as one group.
  const begun = await desk.conditions(said);
  await Promise.all(begun.map((turn, n) => turn?.catch(blame(said[n]!.i))));
  if (troubles.length === 0) return;
  const told = troubles.slice(0, TOLD).join('; ');
  throw new Trouble('batch-in-part', `${troubles.length} of ${records.length} records: ${told}`);
}

function demandRecord(record: unknown): Finding | Rejection {
  const kind = (record as { kind?: unknown } | null | undefined)?.kind as Kind;
  if (!KINDS.includes(kind)) {
    throw new Trouble(
      'kind-unexpected',
      `msg.payload.kind is ${JSON.stringify(kind) ?? 'missing'}; this node takes ${KINDS.join(', ')}, or an action`,
    );
  }
  const [problem] = problemsOf(kind, record);
  if (problem) {
    throw new Trouble(
      'record-invalid',
      `msg.payload${problem.at} of a ${kind}: ${problem.what}; right would be ${problem.expected}`,
    );
  }
  return record as Finding | Rejection;
}

/** What one record of a batch came with. */
function single(msg: FlowMessage, i: number): FlowMessage {
  const { reading, phaseloom: _places, ...rest } = msg;
  const own = Array.isArray(reading) ? (reading[i] as Reading | undefined) : reading;
  return { ...rest, ...(own === undefined ? {} : { reading: own }) } as FlowMessage;
}
