/** A place outside the house that records are carried to. */
import type { DueDelivery } from '../ledger/ledger';

/** What became of one attempt. */
export type Answer =
  | { readonly kind: 'accepted'; readonly status: string }
  /** it may go better later */
  | { readonly kind: 'later'; readonly why: string; readonly afterMs?: number }
  /** the other side will not take this record however often it is offered */
  | { readonly kind: 'refused'; readonly why: string };

export interface Target {
  /** for people; never a secret */
  readonly label: string;
  /** never throws */
  offer(delivery: DueDelivery): Promise<Answer>;
  close(): Promise<void>;
}
