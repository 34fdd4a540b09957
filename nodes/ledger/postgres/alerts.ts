/** Alerts as they stand, and every transition that brought them there. */
import { dueAtUs } from '../../../lib/alert-transition';
import { parseInstant } from '../../../lib/instant';
import type { Alert } from '../../../lib/records';
import type { AlertQuery } from '../ledger';
import { type Client, storable } from './connection';
import type { StoredRow } from './stored-row';

interface Row {
  readonly body: string;
}

/** undefined when somebody else made a transition in between. */
export async function save(client: Client, alert: Alert): Promise<StoredRow | undefined> {
  const { id, key, category, subject, priority, state, active, revision, transition } = alert;
  const { rows } = await client.query<{ revision: number }>('select revision from alert where key = $1 for update', [
    storable(key),
  ]);
  if ((rows[0]?.revision ?? 0) !== revision - 1) return undefined;
  const atUs = parseInstant(alert.at);
  const body = JSON.stringify(alert);
  await client.query(
    `insert into alert (key, id, category, subject, priority, state, active, revision, at_us, due_at_us, body) values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)
     on conflict (key) do update set id = excluded.id, category = excluded.category, subject = excluded.subject, priority = excluded.priority,
       state = excluded.state, active = excluded.active, revision = excluded.revision, at_us = excluded.at_us, due_at_us = excluded.due_at_us, body = excluded.body`,
    [key, id, category, subject, priority, state, active ? 1 : 0, revision, atUs, dueAtUs(alert) ?? null, body].map(
      storable,
    ),
  );
  const inserted = await client.query<{ seq: number }>(
    'insert into alert_transition (id, key, revision, subject, transition, state, at_us, made_by, body) values ($1, $2, $3, $4, $5, $6, $7, $8, $9) returning seq',
    [id, key, revision, subject, transition, state, atUs, alert.by ?? null, body].map(storable),
  );
  return { table: 'alert_transition', seq: inserted.rows[0]!.seq, id, body, record: alert };
}

export async function alerts(client: Client, { keys, openOnly, dueBeforeUs }: AlertQuery) {
  const wanted = [
    '($1::text[] is null or key = any($1))',
    ...(openOnly ? ["state <> 'normal'"] : []),
    ...(dueBeforeUs === undefined ? [] : ['due_at_us < $2']),
  ];
  const { rows } = await client.query<Row>(`select body from alert where ${wanted.join(' and ')} order by key`, [
    keys?.map(storable) ?? null,
    ...(dueBeforeUs === undefined ? [] : [dueBeforeUs]),
  ]);
  return rows.map(opened);
}

export async function history(client: Client, key: string): Promise<Alert[]> {
  const { rows } = await client.query<Row>('select body from alert_transition where key = $1 order by revision', [
    storable(key),
  ]);
  return rows.map(opened);
}

const opened = ({ body }: Row): Alert => JSON.parse(body) as Alert;
