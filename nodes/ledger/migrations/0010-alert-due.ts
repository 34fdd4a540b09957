import { sql } from 'kysely';
import { dueAtUs } from '../../../lib/alert-transition';
import type { Alert } from '../../../lib/records';
import type { Step } from '.';

/** When time alone moves an alert, so that those few are found among many. */
export const alertDue: Step = async (db) => {
  await db.schema.alterTable('alert').addColumn('due_at_us', 'bigint').execute();
  const rows = await db.selectFrom('alert').select(['key', 'body']).execute();
  for (const { key, body } of rows) {
    const dueUs = dueAtUs((typeof body === 'string' ? JSON.parse(body) : body) as Alert);
    if (dueUs !== undefined) await db.updateTable('alert').set({ due_at_us: dueUs }).where('key', '=', key).execute();
  }
  await sql`create index alert_by_due on alert (due_at_us) where due_at_us is not null`.execute(db);
};
