/** What leaves a node: one message a record, or for a batch one message a port. */
import type { NodeMessage } from 'node-red';
import type { PhaseloomRecord, Reading } from '../../lib/records';

export type FlowMessage = NodeMessage & {
  payload?: unknown;
  /** the reading that started it; for a batch, one per record */
  reading?: Reading | readonly (Reading | undefined)[];
  /** our own matters: where the reading stands in the ledger; for a batch, one per record */
  phaseloom?: { seq?: number | readonly (number | undefined)[] };
};

/** A record that leaves with properties of its own on the message; in a batch each property is an array, one per record. */
export class Marked {
  constructor(
    readonly record: PhaseloomRecord,
    readonly marks: Readonly<Record<string, unknown>>,
  ) {}
}

export type Emitted = PhaseloomRecord | Marked;

/** Records for each output port; undefined or empty: nothing on that port. */
export type Ports = readonly (Emitted | readonly Emitted[] | undefined)[];

export type Send = (msg: NodeMessage | (NodeMessage | NodeMessage[] | null)[]) => void;

/** What came of one record of a message. */
export interface Outcome {
  readonly ports: Ports;
  readonly reading: Reading | undefined;
  readonly seq: number | undefined;
}

export const recordOf = (emitted: Emitted): PhaseloomRecord => (emitted instanceof Marked ? emitted.record : emitted);

export const listed = (emitted: Ports[number]): readonly Emitted[] => {
  if (emitted === undefined) return [];
  return Array.isArray(emitted) ? emitted : [emitted as Emitted];
};

/** Every record as a message with all that the message that came carried. One by one: of several at once Node-RED would clone every one but the first. */
export function sendSingles({ ports, reading }: Outcome, msg: FlowMessage, send: Send): void {
  ports.forEach((emitted, port) => {
    for (const e of listed(emitted)) send([...new Array<null>(port).fill(null), single(e, reading, msg)]);
  });
}

function single(emitted: Emitted, reading: Reading | undefined, msg: FlowMessage): NodeMessage {
  const record = recordOf(emitted);
  const started = reading ?? (record.kind === 'reading' ? record : undefined);
  const marks = emitted instanceof Marked ? emitted.marks : undefined;
  return { ...msg, ...marks, payload: record, ...(started ? { reading: started } : {}) } as NodeMessage;
}

interface Batch {
  readonly records: PhaseloomRecord[];
  readonly readings: (Reading | undefined)[];
  readonly seqs: (number | undefined)[];
  readonly marks: Map<string, unknown[]>;
}

/** One message a port, holding the records of all outcomes in order. */
export function sendBatches(outcomes: readonly Outcome[], msg: FlowMessage, send: Send): void {
  const batches: (Batch | undefined)[] = [];
  for (const outcome of outcomes) {
    outcome.ports.forEach((emitted, port) => {
      for (const e of listed(emitted)) {
        batches[port] ??= empty();
        gather(batches[port], e, outcome);
      }
    });
  }
  if (batches.length > 0) send(Array.from(batches, (b) => (b ? batchMessage(b, msg) : null)));
}

const empty = (): Batch => ({ records: [], readings: [], seqs: [], marks: new Map() });

function gather(batch: Batch, emitted: Emitted, { reading, seq }: Outcome): void {
  const place = batch.records.length;
  const record = recordOf(emitted);
  batch.records.push(record);
  batch.readings.push(reading ?? (record.kind === 'reading' ? record : undefined));
  batch.seqs.push(seq);
  if (!(emitted instanceof Marked)) return;
  for (const [name, mark] of Object.entries(emitted.marks)) {
    const marks = batch.marks.get(name) ?? [];
    batch.marks.set(name, marks);
    marks[place] = mark;
  }
}

function batchMessage({ records, readings, seqs, marks }: Batch, msg: FlowMessage): NodeMessage {
  const standing = seqs.some((s) => s !== undefined) ? { phaseloom: { ...msg.phaseloom, seq: seqs } } : {};
  return {
    ...msg,
    ...Object.fromEntries(marks),
    payload: records,
    reading: readings,
    ...standing,
  } as unknown as NodeMessage;
}
