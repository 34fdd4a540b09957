/** What comes to the desk in messages: findings, rejections and actions of operators. */
import { conditionsOf } from '../../lib/alert-rules';
import type { Finding, Kind, Reading, Rejection } from '../../lib/records';
import { problemsOf } from '../../lib/validate';
import type { FlowMessage } from '../kit/serve';
import { asError, Trouble } from '../kit/trouble';
import { isAction, readAction } from './action';
import type { Desk } from './desk';

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
  if (!Array.isArray(payload)) return takeRecord(desk, payload, msg);
  // All are begun in order before any is awaited, so that the ledger can commit them as one group.
  const taken = payload.map((record, i) => takeRecord(desk, record, single(msg, i)));
  const troubles = (await Promise.allSettled(taken)).flatMap((r, i) =>
    r.status === 'rejected' ? [`[${i}] ${asError(r.reason).message}`] : [],
  );
  if (troubles.length === 0) return;
  throw new Trouble(
    'batch-in-part',
    `${troubles.length} of ${payload.length} records: ${troubles.slice(0, TOLD).join('; ')}`,
  );
}

async function takeRecord(desk: Desk, record: unknown, cause: FlowMessage): Promise<void> {
  const conditions = conditionsOf(demandRecord(record));
  await Promise.all(conditions.map((condition) => desk.condition(condition, cause)));
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
