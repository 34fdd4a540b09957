/** What must leave the house: one record to one destination, as the outbox of the ledger takes it and gives it out. */
import type { PhaseloomRecord } from '../../lib/records';

/** One record to be carried to one destination; a second enqueue with the same destination and key changes nothing. */
export interface Delivery {
  readonly destination: string;
  /** idempotency key: the id of the record (for alerts: id, which changes with every transition) */
  readonly key: string;
  /** deliveries of one subject leave in the order of enqueueing */
  readonly subject: string;
  readonly record: PhaseloomRecord;
}

export interface DueDelivery extends Delivery {
  readonly seq: number;
  /** how often it has been claimed, the present claim included */
  readonly attempts: number;
  /** how often the other side refused it, whoever offered it */
  readonly refusals: number;
  readonly enqueuedAtUs: number;
}
