import type { Step } from '.';

/** What stays of readings that were let go, and the old readings that something still rests on. */
export const letGo: Step = async (db, words) => {
  await db.schema
    .createTable('reading_day')
    .addColumn('terminal', 'text', (c) => c.notNull())
    .addColumn('day', 'text', (c) => c.notNull())
    .addColumn('against', 'text', (c) => c.notNull())
    .addColumn('readings', 'bigint', (c) => c.notNull())
    .addColumn('body', words.json, (c) => c.notNull())
    .addPrimaryKeyConstraint('reading_day_pk', ['terminal', 'day', 'against'])
    .execute();
  await db.schema
    .createTable('reading_held')
    .addColumn('id', 'text', (c) => c.primaryKey())
    .addColumn('seq', 'bigint', (c) => c.notNull())
    .addColumn('taken_at_us', 'bigint', (c) => c.notNull())
    .execute();
  await db.schema.createIndex('chain_link_by_reading').on('chain_link').columns(['reading_to', 'link']).execute();
};
