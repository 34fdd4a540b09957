/**
 * The one way our nodes take messages: one record, or a batch (an array) of them, in msg.payload.
 * Each record goes through `each`; what comes back leaves on the ports. A record that fails is told once through done(err);
 * the others of its batch go on. done is called exactly once for each message, after everything was sent.
 */
import type { Node, NodeMessage } from 'node-red';
import type { Kind, PhaseloomRecord, Reading } from '../../lib/records';
import { asError, Trouble } from './trouble';

export type FlowMessage = NodeMessage & {
  payload?: unknown;
  /** the reading that started it; for a batch, one per record */
  reading?: Reading | readonly Reading[];
  /** our own matters: where the reading stands in the ledger */
  phaseloom?: { seq?: number | readonly number[] };
};

/** Records for each output port; undefined or empty: nothing on that port. */
export type Ports = readonly (PhaseloomRecord | readonly PhaseloomRecord[] | undefined)[];

export interface Step {
  readonly accepts: readonly Kind[];
  each(
    record: PhaseloomRecord,
    reading: Reading | undefined,
    seq: number | undefined,
    msg: FlowMessage,
  ): Ports | Promise<Ports>;
}

type Send = (msg: NodeMessage | (NodeMessage | NodeMessage[] | null)[]) => void;

export function serve(node: Node, step: Step): void {
  node.on('input', (msg, send, done) => {
    handle(step, msg as FlowMessage, send as Send).then(
      () => done(),
      (cause) => done(asError(cause)),
    );
  });
}

async function handle(step: Step, msg: FlowMessage, send: Send): Promise<void> {
  if (Array.isArray(msg.payload)) return handleBatch(step, msg, send);
  const ports = await one(step, msg.payload, at(msg.reading, 0), at(msg.phaseloom?.seq, 0), msg);
  dispatch(
    ports,
    (record, first) => ({ ...(first ? msg : { ...msg }), payload: record, ...started(msg, record) }) as NodeMessage,
    send,
  );
}

async function handleBatch(step: Step, msg: FlowMessage, send: Send): Promise<void> {
  const records = msg.payload as unknown[];
  // All are begun in order before any is awaited, so that a ledger can commit them as one group.
  const begun = records.map((record, i) =>
    begin(() => one(step, record, at(msg.reading, i), at(msg.phaseloom?.seq, i), msg)),
  );
  const settled = await Promise.allSettled(begun);
  const out = new Map<number, { records: PhaseloomRecord[]; readings: Reading[] }>();
  const troubles: string[] = [];
  settled.forEach((result, i) => {
    if (result.status === 'rejected') troubles.push(`[${i}] ${asError(result.reason).message}`);
    else gather(out, result.value, at(msg.reading, i) ?? asReading(records[i]));
  });
  const ports = Math.max(-1, ...out.keys()) + 1;
  const messages = Array.from({ length: ports }, (_, port) => {
    const batch = out.get(port);
    return batch ? { ...msg, payload: batch.records, reading: batch.readings } : null;
  });
  if (ports > 0) send(messages as NodeMessage[]);
  if (troubles.length > 0) {
    const told = troubles.slice(0, 5).join('; ');
    throw new Trouble('batch-in-part', `${troubles.length} of ${records.length} records: ${told}`);
  }
}

/** A step that throws at once becomes a rejected promise, like one that fails later. */
async function begin(start: () => Ports | Promise<Ports>): Promise<Ports> {
  return start();
}

function gather(
  out: Map<number, { records: PhaseloomRecord[]; readings: Reading[] }>,
  ports: Ports,
  reading: Reading | undefined,
): void {
  ports.forEach((emitted, port) => {
    for (const record of listed(emitted)) {
      const batch = out.get(port) ?? { records: [], readings: [] };
      out.set(port, batch);
      batch.records.push(record);
      if (reading) batch.readings.push(reading);
    }
  });
}

function one(
  step: Step,
  record: unknown,
  reading: Reading | undefined,
  seq: number | undefined,
  msg: FlowMessage,
): Ports | Promise<Ports> {
  const kind = (record as { kind?: unknown } | null | undefined)?.kind;
  if (!step.accepts.includes(kind as Kind)) {
    throw new Trouble(
      'kind-unexpected',
      `msg.payload.kind is ${JSON.stringify(kind) ?? 'missing'}; this node takes ${step.accepts.join(' or ')}`,
    );
  }
  return step.each(record as PhaseloomRecord, reading ?? asReading(record), seq, msg);
}

function dispatch(ports: Ports, message: (record: PhaseloomRecord, first: boolean) => NodeMessage, send: Send): void {
  let first = true;
  const out = ports.map((emitted) => {
    const messages = listed(emitted).map((record) => {
      const made = message(record, first);
      first = false;
      return made;
    });
    return messages.length === 0 ? null : messages.length === 1 ? messages[0]! : messages;
  });
  if (out.some(Boolean)) send(out);
}

function started(msg: FlowMessage, record: PhaseloomRecord): { reading?: unknown } {
  if (msg.reading !== undefined) return {};
  const reading = asReading(msg.payload) ?? asReading(record);
  return reading ? { reading } : {};
}

const asReading = (record: unknown): Reading | undefined =>
  (record as { kind?: unknown } | null)?.kind === 'reading' ? (record as Reading) : undefined;
const listed = (emitted: Ports[number]): readonly PhaseloomRecord[] =>
  emitted === undefined ? [] : Array.isArray(emitted) ? emitted : [emitted as PhaseloomRecord];
function at<T>(value: T | readonly T[] | undefined, i: number): T | undefined {
  return Array.isArray(value) ? value[i] : (value as T | undefined);
}
