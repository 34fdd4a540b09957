import { sql } from 'kysely';
import type { Step } from '.';

/** One row a commit: up to where each table was written, and a digest over that and over the link before. What stood before is not covered. */
export const chain: Step = async (db) => {
  await db.schema
    .createTable('chain_link')
    .addColumn('link', 'bigint', (c) => c.primaryKey())
    .addColumn('at_us', 'bigint', (c) => c.notNull())
    .addColumn('reading_to', 'bigint', (c) => c.notNull())
    .addColumn('rejection_to', 'bigint', (c) => c.notNull())
    .addColumn('finding_to', 'bigint', (c) => c.notNull())
    .addColumn('alert_transition_to', 'bigint', (c) => c.notNull())
    .addColumn('digest', 'text', (c) => c.notNull())
    .execute();
  await sql`insert into chain_link select 0, 0,
    coalesce((select max(seq) from reading), 0), coalesce((select max(seq) from rejection), 0),
    coalesce((select max(seq) from finding), 0), coalesce((select max(seq) from alert_transition), 0), ''`.execute(db);
};
