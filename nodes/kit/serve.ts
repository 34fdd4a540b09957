/**
 * The one way our nodes take messages: one record, or a batch (an array) of them, in msg.payload.
 * Each record goes through `each`; what comes back leaves on the ports. A record that fails is told once through done(err);
 * the others of its batch go on. done is called exactly once for each message, after everything was sent.
 * Steps that answer at once are served at once: a promise for every record would cost as much as the step.
 */
import type { Node } from 'node-red';
import type { Kind, PhaseloomRecord, Reading } from '../../lib/records';
import { type FlowMessage, type Outcome, type Ports, type Send, sendBatches, sendSingles } from './outgoing';
import { asError, Trouble } from './trouble';
import { underWay } from './under-way';

export { type Emitted, type FlowMessage, Marked, type Ports } from './outgoing';

export interface Step {
  readonly accepts: readonly Kind[];
  each(
    record: PhaseloomRecord,
    reading: Reading | undefined,
    seq: number | undefined,
    msg: FlowMessage,
  ): Ports | Promise<Ports>;
}

export function serve(node: Node, step: Step): void {
  node.on('input', (given, send, done) => {
    const msg = given as FlowMessage;
    try {
      const later = Array.isArray(msg.payload) ? takeBatch(step, msg, send as Send) : takeOne(step, msg, send as Send);
      if (!later) return done();
      underWay(Array.isArray(msg.payload) ? msg.payload.length : 1, later).then(
        () => done(),
        (cause) => done(asError(cause)),
      );
    } catch (cause) {
      done(asError(cause));
    }
  });
}

function takeOne(step: Step, msg: FlowMessage, send: Send): Promise<void> | undefined {
  const made = one(step, msg.payload, 0, msg);
  if (isPromise(made)) return made.then((outcome) => sendSingles(outcome, msg, send));
  sendSingles(made, msg, send);
  return undefined;
}

function takeBatch(step: Step, msg: FlowMessage, send: Send): Promise<void> | undefined {
  // All are begun in order before any is awaited, so that a ledger can commit them as one group.
  const begun = (msg.payload as unknown[]).map((record, i) => begin(step, record, i, msg));
  if (!begun.some(isPromise)) {
    finishBatch(begun as (Outcome | Failed)[], msg, send);
    return undefined;
  }
  return Promise.all(begun).then((settled) => finishBatch(settled, msg, send));
}

class Failed {
  constructor(readonly error: Error) {}
}

/** A failure is an outcome of its own here: the rest of the batch goes on. */
function begin(step: Step, record: unknown, i: number, msg: FlowMessage): Outcome | Failed | Promise<Outcome | Failed> {
  try {
    const made = one(step, record, i, msg);
    return isPromise(made) ? made.catch((cause) => new Failed(asError(cause))) : made;
  } catch (cause) {
    return new Failed(asError(cause));
  }
}

function finishBatch(settled: readonly (Outcome | Failed)[], msg: FlowMessage, send: Send): void {
  const troubles: string[] = [];
  const outcomes: Outcome[] = [];
  settled.forEach((result, i) => {
    if (result instanceof Failed) troubles.push(`[${i}] ${result.error.message}`);
    else outcomes.push(result);
  });
  sendBatches(outcomes, msg, send);
  if (troubles.length === 0) return;
  const told = troubles.slice(0, 5).join('; ');
  throw new Trouble('batch-in-part', `${troubles.length} of ${settled.length} records: ${told}`);
}

function one(step: Step, record: unknown, i: number, msg: FlowMessage): Outcome | Promise<Outcome> {
  const kind = (record as { kind?: unknown } | null | undefined)?.kind;
  if (!step.accepts.includes(kind as Kind)) {
    throw new Trouble(
      'kind-unexpected',
      `msg.payload.kind is ${JSON.stringify(kind) ?? 'missing'}; this node takes ${step.accepts.join(' or ')}`,
    );
  }
  const reading = at(msg.reading, i) ?? (kind === 'reading' ? (record as Reading) : undefined);
  const seq = at(msg.phaseloom?.seq, i);
  const made = step.each(record as PhaseloomRecord, reading, seq, msg);
  return isPromise(made) ? made.then((ports) => ({ ports, reading, seq })) : { ports: made, reading, seq };
}

const isPromise = <T>(value: T | Promise<T>): value is Promise<T> =>
  typeof (value as { then?: unknown } | null)?.then === 'function';

function at<T>(value: T | readonly T[] | undefined, i: number): T | undefined {
  return Array.isArray(value) ? value[i] : (value as T | undefined);
}
