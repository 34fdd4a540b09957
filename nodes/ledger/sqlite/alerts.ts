/** Alerts as they stand, and every transition that brought them there. */
import type { DatabaseSync } from 'node:sqlite';
import { dueAtUs } from '../../../lib/alert-transition';
import { parseInstant } from '../../../lib/instant';
import type { Alert } from '../../../lib/records';
import type { AlertQuery } from '../ledger';
import { boundedRows } from './bounded-rows';

interface Body {
  readonly body: string;
}

export class Alerts {
  private readonly revision;
  private readonly put;
  private readonly insertTransition;
  private readonly all;
  private readonly open;
  private readonly due;
  private readonly byKey;
  private readonly history;
  private readonly countOpen;

  constructor(database: DatabaseSync) {
    this.revision = database.prepare('select revision from alert where key = ?');
    this.put = database.prepare(
      `insert into alert (key, id, category, subject, priority, state, active, revision, at_us, due_at_us, body) values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
       on conflict (key) do update set id = excluded.id, category = excluded.category, subject = excluded.subject, priority = excluded.priority,
         state = excluded.state, active = excluded.active, revision = excluded.revision, at_us = excluded.at_us, due_at_us = excluded.due_at_us, body = excluded.body`,
    );
    this.insertTransition = database.prepare(
      'insert into alert_transition (id, key, revision, subject, transition, state, at_us, made_by, body) values (?, ?, ?, ?, ?, ?, ?, ?, ?)',
    );
    this.all = database.prepare('select body from alert order by key');
    this.open = database.prepare("select body from alert where state <> 'normal' order by key");
    this.due = database.prepare('select body from alert where due_at_us < ? order by key');
    this.byKey = database.prepare('select body from alert where key = ?');
    this.history = database.prepare('select body from alert_transition where key = ? order by revision');
    this.countOpen = database.prepare("select count(*) as n from alert where state <> 'normal'");
  }

  /** False when somebody else made a transition in between. */
  save(alert: Alert): boolean {
    const { id, key, category, subject, priority, state, active, revision, transition } = alert;
    const stored = this.revision.get(key) as { revision: number } | undefined;
    if ((stored?.revision ?? 0) !== revision - 1) return false;
    const atUs = parseInstant(alert.at);
    const body = JSON.stringify(alert);
    this.put.run(
      key,
      id,
      category,
      subject,
      priority,
      state,
      active ? 1 : 0,
      revision,
      atUs,
      dueAtUs(alert) ?? null,
      body,
    );
    this.insertTransition.run(id, key, revision, subject, transition, state, atUs, alert.by ?? null, body);
    return true;
  }

  alerts({ keys, openOnly, dueBeforeUs }: AlertQuery): Alert[] {
    const candidates = () => {
      if (keys) return [...new Set(keys)].flatMap((key) => this.byKey.all(key));
      return dueBeforeUs === undefined ? (openOnly ? this.open : this.all).all() : this.due.all(dueBeforeUs);
    };
    const fits = (alert: Alert) =>
      (!openOnly || alert.state !== 'normal') &&
      (dueBeforeUs === undefined || (dueAtUs(alert) ?? Infinity) < dueBeforeUs);
    return candidates().map(opened).filter(fits);
  }

  alertHistory(key: string): Alert[] {
    return boundedRows(this.history, [key]).map(opened);
  }

  openCount(): number {
    return (this.countOpen.get() as { n: number }).n;
  }
}

const opened = (row: unknown): Alert => JSON.parse((row as Body).body) as Alert;
