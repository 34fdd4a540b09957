import type { Step } from '.';

/** How often the other side refused a delivery: counted where it stands, so that any worker may give it up in time. */
export const refusals: Step = async (db) => {
  await db.schema
    .alterTable('delivery')
    .addColumn('refusals', 'integer', (c) => c.notNull().defaultTo(0))
    .execute();
};
