import type { Step } from '.';

/** What one worker at a time may do, and which workers are alive. */
export const claims: Step = async (db) => {
  await db.schema
    .createTable('claim')
    .addColumn('scope', 'text', (c) => c.notNull())
    .addColumn('name', 'text', (c) => c.notNull())
    .addColumn('holder', 'text', (c) => c.notNull())
    .addColumn('until_us', 'bigint', (c) => c.notNull())
    .addColumn('term', 'bigint', (c) => c.notNull())
    .addPrimaryKeyConstraint('claim_pk', ['scope', 'name'])
    .execute();
  await db.schema
    .createTable('worker')
    .addColumn('scope', 'text', (c) => c.notNull())
    .addColumn('holder', 'text', (c) => c.notNull())
    .addColumn('until_us', 'bigint', (c) => c.notNull())
    .addPrimaryKeyConstraint('worker_pk', ['scope', 'holder'])
    .execute();
};
