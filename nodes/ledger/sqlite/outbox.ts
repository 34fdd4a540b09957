/** What must leave the house. Of each subject only the head, its oldest waiting delivery, may go. */
import type { DatabaseSync } from 'node:sqlite';
import type { PhaseloomRecord } from '../../../lib/records';
import type { Delivery, DueDelivery } from '../ledger';

interface Row {
  readonly seq: number;
  readonly destination: string;
  readonly key: string;
  readonly subject: string;
  readonly state: string;
  readonly attempts: number;
  readonly refusals: number;
  readonly enqueued_at_us: number;
  readonly last_error: string;
  readonly body: string;
}

type DeliveryState = 'waiting' | 'accepted' | 'abandoned';

export interface DeliveryQuery {
  readonly destination?: string;
  readonly state?: DeliveryState;
  readonly limit?: number;
}

export class Outbox {
  private readonly insert;
  private readonly due;
  private readonly claim;
  private readonly byPlace;
  private readonly finish;
  private readonly promote;
  private readonly postpone;
  private readonly countWaiting;

  constructor(
    private readonly database: DatabaseSync,
    private readonly nowUs: () => number,
  ) {
    this.insert = database.prepare(
      `insert into delivery (destination, key, subject, state, is_head, attempts, enqueued_at_us, due_at_us, last_error, body)
       select ?, ?, ?, 'waiting', not exists (select 1 from delivery where destination = ? and subject = ? and state = 'waiting'), 0, ?, 0, '', ?
       where true on conflict (destination, key) do nothing`,
    );
    this.due = database.prepare(
      `select * from delivery where destination = ? and state = 'waiting' and is_head = 1 and due_at_us <= ? order by seq limit ? + 0`,
    );
    this.claim = database.prepare('update delivery set due_at_us = ?, attempts = attempts + 1 where seq = ?');
    this.byPlace = database.prepare("select destination, subject from delivery where seq = ? and state = 'waiting'");
    this.finish = database.prepare(
      'update delivery set state = ?, is_head = 0, done_at_us = ?, answer = ?, last_error = coalesce(?, last_error) where seq = ?',
    );
    this.promote = database.prepare(
      `update delivery set is_head = 1
       where seq = (select min(seq) from delivery where destination = ? and subject = ? and state = 'waiting')`,
    );
    this.postpone = database.prepare(
      "update delivery set due_at_us = ?, last_error = ?, refusals = refusals + ? where seq = ? and state = 'waiting'",
    );
    this.countWaiting = database.prepare("select count(*) as n from delivery where state = 'waiting'");
  }

  enqueue(deliveries: readonly Delivery[]): void {
    const nowUs = this.nowUs();
    for (const { destination, key, subject, record } of deliveries) {
      this.insert.run(destination, key, subject, destination, subject, nowUs, JSON.stringify(record));
    }
  }

  claimDue(destination: string, limit: number, leaseMs: number): DueDelivery[] {
    const nowUs = this.nowUs();
    const due = this.due.all(destination, nowUs, limit) as unknown as Row[];
    for (const { seq } of due) this.claim.run(nowUs + Math.round(leaseMs * 1000), seq);
    return due.map((row) => ({ ...opened(row), attempts: row.attempts + 1 }));
  }

  accepted(seq: number, atUs: number, answer: string): void {
    this.end(seq, 'accepted', atUs, answer, null);
  }

  abandoned(seq: number, atUs: number, error: string): void {
    this.end(seq, 'abandoned', atUs, null, error);
  }

  failed(seq: number, error: string, retryAtUs: number, isRefusal = false): void {
    this.postpone.run(retryAtUs, error, Number(isRefusal), seq);
  }

  deliveries({
    destination,
    state,
    limit = 100,
  }: DeliveryQuery): (DueDelivery & { state: string; lastError: string })[] {
    // The state stands in the text so that the small index of the waiting ones is used.
    const asked = [
      destination === undefined ? 'true' : 'destination = ?',
      state === undefined ? 'true' : `state = '${state}'`,
    ];
    const sql = `select * from delivery where ${asked.join(' and ')} order by seq ${state === 'waiting' ? 'asc' : 'desc'} limit ?`;
    const rows = this.database
      .prepare(sql)
      .all(...(destination === undefined ? [] : [destination]), limit) as unknown as Row[];
    return rows.map((row) => ({ ...opened(row), state: row.state, lastError: row.last_error }));
  }

  waitingCount(): number {
    return (this.countWaiting.get() as { n: number }).n;
  }

  /** The next of its subject becomes the head; nothing happens to one that is no longer waiting. */
  private end(seq: number, state: string, atUs: number, answer: string | null, error: string | null): void {
    const place = this.byPlace.get(seq) as { destination: string; subject: string } | undefined;
    if (!place) return;
    this.finish.run(state, atUs, answer, error, seq);
    this.promote.run(place.destination, place.subject);
  }
}

function opened(row: Row): DueDelivery {
  const { seq, destination, key, subject, attempts, refusals, body } = row;
  return {
    seq,
    destination,
    key,
    subject,
    attempts,
    refusals,
    enqueuedAtUs: row.enqueued_at_us,
    record: JSON.parse(body) as PhaseloomRecord,
  };
}
