import { type RawBuilder, sql } from 'kysely';
import type { AnyDatabase, Step } from '.';

/**
 * Partitions by time, in PostgreSQL only. A unique index of a partitioned table holds its time as well. For readings that is as good as
 * the id alone, which is a digest over the time too; ids of rejections and findings, and which finding holds, are kept unique in small
 * tables of their own.
 */
export const partitions: Step = async (db) => {
  await db.schema.alterTable('finding_source').dropConstraint('finding_source_finding_seq_fkey').execute();
  await partitioned(db, 'reading', 'taken_at_us');
  await partitioned(db, 'rejection', 'at_us');
  await partitioned(db, 'finding', 'at_us');
  await readings(db);
  await rejections(db);
  await findings(db);
};

async function partitioned(db: AnyDatabase, table: string, time: string): Promise<void> {
  const run = (text: string) => sql.raw(text).execute(db);
  await run(`alter table ${table} rename to ${table}_before`);
  await run(`create table ${table} (like ${table}_before) partition by range (${time})`);
  await run(`create table ${table}_default partition of ${table} default`);
  await run(`insert into ${table} select * from ${table}_before order by seq`);
  const { rows } = await sql<{
    next: string;
  }>`select nextval(pg_get_serial_sequence(${`${table}_before`}, 'seq')) as next`.execute(db);
  await run(`drop table ${table}_before`);
  await run(`alter table ${table} alter column seq add generated always as identity (start with ${rows[0]!.next})`);
  await run(`alter table ${table} add primary key (seq, ${time})`);
}

async function readings(db: AnyDatabase): Promise<void> {
  await sql`create unique index reading_once on reading (id, taken_at_us)`.execute(db);
  await index(db, 'reading_by_terminal', ['terminal', 'taken_at_us', 'seq']);
  await index(db, 'reading_by_time', ['taken_at_us', 'seq']);
  await index(db, 'reading_by_door', ['door', 'seq']);
  await index(db, 'reading_by_instrument', ['instrument', 'taken_at_us', 'seq'], sql`instrument is not null`);
  await index(db, 'reading_by_person', ['taken_by', 'taken_at_us', 'seq'], sql`taken_by is not null`);
}

async function rejections(db: AnyDatabase): Promise<void> {
  await sql`create table rejection_key (id text collate "C" primary key)`.execute(db);
  await sql`insert into rejection_key select id from rejection`.execute(db);
  await index(db, 'rejection_by_id', ['id']);
  await index(db, 'rejection_by_time', ['at_us', 'seq']);
  await index(db, 'rejection_by_terminal', ['terminal', 'at_us', 'seq'], sql`terminal is not null`);
}

async function findings(db: AnyDatabase): Promise<void> {
  await sql`create table finding_key (id text collate "C" primary key, seq bigint not null, at_us bigint not null)`.execute(
    db,
  );
  await sql`insert into finding_key select id, seq, at_us from finding`.execute(db);
  await sql`create table finding_holding (kind text collate "C", about text collate "C", id text collate "C" not null, seq bigint not null,
    at_us bigint not null, frame_revision text collate "C", primary key (kind, about))`.execute(db);
  await sql`insert into finding_holding select kind, about, id, seq, at_us, frame_revision from finding where superseded_by is null`.execute(
    db,
  );
  await index(db, 'finding_by_id', ['id']);
  await index(db, 'finding_by_time', ['at_us', 'seq']);
  await index(db, 'finding_by_subject', ['subject', 'at_us', 'seq']);
  await index(db, 'finding_by_holding', ['at_us', 'seq'], sql`superseded_by is null`);
}

async function index(db: AnyDatabase, name: string, columns: string[], where?: RawBuilder<unknown>): Promise<void> {
  const [table] = name.split('_by_');
  const made = db.schema.createIndex(name).on(table!).columns(columns);
  await (where ? made.where(where as RawBuilder<boolean>) : made).execute();
}
