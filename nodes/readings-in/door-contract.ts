/** What the door is told, what it takes and what it gives. */
import type { Node } from 'node-red';
import type { Reading, Rejection } from '../../lib/records';
import type { FlowMessage } from '../kit/serve';
import type { Arrival } from './arrival';
import type { BatchLimits } from './batcher';
import type { Held } from './connection';

export interface DoorSettings extends BatchLimits {
  readonly id: string;
  /** name of this worker among those that share a ledger */
  readonly instance: string;
  readonly window: number;
  readonly settleMs: number;
  /** where workers share the ledger: how long a reading waits for those taken before it */
  readonly gatherMs: number;
  readonly takeRetained: boolean;
  /** messages given by hand that may wait */
  readonly maxEntries: number;
}

/** A message given by hand or by another node: told when it is stored, or why it is not. */
export interface Entry {
  /** the message that brought it, when it came from the flow */
  readonly msg?: FlowMessage | undefined;
  stored(outcome: EntryOutcome): void;
  failed(error: Error): void;
}

export interface EntryOutcome {
  readonly readings: readonly { readonly reading: Reading; readonly seq: number; readonly isNew: boolean }[];
  readonly rejection: Rejection | undefined;
}

export interface Item extends Arrival {
  readonly held?: Held | undefined;
  readonly entry?: Entry | undefined;
  /** in our own form already, whatever the mapping */
  readonly isMapped?: boolean;
}

/** A reading on its way out. */
export interface Outgoing {
  readonly reading: Reading;
  readonly seq: number;
  readonly topic: string | undefined;
  /** what brought it, if this worker took it in this run */
  readonly item?: Item;
  /** it may have been sent before: by an earlier run, or by a worker that is gone */
  readonly isAgain?: boolean;
}

export interface DoorOutput {
  /** in the order of the ledger */
  readings(sent: readonly Outgoing[]): void;
  rejections(sent: readonly { readonly item: Item; readonly rejection: Rejection }[]): void;
  /** something that cannot happen did */
  trouble(error: Error): void;
}

export interface DoorCounts {
  /** messages that came in */
  received: number;
  /** readings stored that were not there before */
  stored: number;
  /** readings that were there already: redelivered or sent twice */
  duplicates: number;
  /** messages with something wrong */
  rejected: number;
  /** retained messages passed over */
  skipped: number;
  /** most messages ever held at once */
  mostPending: number;
}

/** What other parts of the pack, and flows by way of RED.nodes.getNode, may ask of the node. */
export interface ReadingsInNode extends Node {
  counters(): Record<string, number>;
  /** Takes a reading (or an array of them, or one of another shape for the mapping) as if it had come by message; resolves after the commit. */
  enter(payload: unknown, topic?: string): Promise<EntryOutcome>;
}
