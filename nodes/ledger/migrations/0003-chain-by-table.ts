import { sql } from 'kysely';
import type { Step } from '.';

const TABLES = ['reading', 'rejection', 'finding', 'alert_transition'];

/**
 * A link holds a digest for each table, so that one can be followed without the other, and may say what was let go. The chain begins
 * anew: what stands before is not covered.
 */
export const chainByTable: Step = async (db) => {
  await db.schema.dropTable('chain_link').execute();
  let table = db.schema
    .createTable('chain_link')
    .addColumn('link', 'bigint', (c) => c.primaryKey())
    .addColumn('at_us', 'bigint', (c) => c.notNull());
  for (const name of TABLES) {
    table = table
      .addColumn(`${name}_to`, 'bigint', (c) => c.notNull())
      .addColumn(`${name}_digest`, 'text', (c) => c.notNull());
  }
  await table
    .addColumn('let_go', 'text')
    .addColumn('digest', 'text', (c) => c.notNull())
    .execute();
  const ends = TABLES.map((name) => sql`coalesce((select max(seq) from ${sql.table(name)}), 0), '-'`);
  await sql`insert into chain_link select 0, 0, ${sql.join(ends)}, null, ''`.execute(db);
  // Which links lost rows: of the rows of `reading` in those from..to only what has the digest `remaining` is left.
  await db.schema
    .createTable('chain_let_go')
    .addColumn('link', 'bigint', (c) => c.notNull())
    .addColumn('from_link', 'bigint', (c) => c.notNull())
    .addColumn('to_link', 'bigint', (c) => c.notNull())
    .addColumn('remaining', 'text', (c) => c.notNull())
    .addPrimaryKeyConstraint('chain_let_go_pk', ['link', 'from_link'])
    .execute();
};
