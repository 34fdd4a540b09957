import { sql } from 'kysely';
import type { Step } from '.';

/** In SQLite only: the sources of findings lie in the tree of their key alone, not in a table and an index of it as well. */
export const sourcesOnce: Step = async (db) => {
  const run = (text: string) => sql.raw(text).execute(db);
  await run('drop view v1_finding_source');
  await run('alter table finding_source rename to finding_source_before');
  await run('drop index finding_source_by_source');
  await run(`create table finding_source (finding_seq bigint not null references finding (seq) on delete cascade, source_id text not null,
    primary key (finding_seq, source_id)) without rowid`);
  await run('insert into finding_source select finding_seq, source_id from finding_source_before order by 1, 2');
  await run('drop table finding_source_before');
  await run('create index finding_source_by_source on finding_source (source_id, finding_seq)');
  await run(
    'create view v1_finding_source as select id as finding_id, source_id from finding_source join finding on seq = finding_seq',
  );
};
