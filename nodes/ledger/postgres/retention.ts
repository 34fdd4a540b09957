/** What PostgreSQL writes differently when readings are let go, and the partitions that go with them. */
import type { RetentionWords } from '../retention/question';
import type { Client } from './connection';
import { partitionsOf } from './partitions';

/** The one text that PostgreSQL cannot take out of JSON is replaced before. */
const record = (table: string) => String.raw`replace(${table}.body::text, '\u0000', '\ufffd')::json`;

export const postgresRetention: RetentionWords = {
  texts: (value) => `select value collate "C" as value from json_array_elements_text($${value}::json) as t (value)`,
  restsOn: (table, condition) =>
    `select value collate "C" as id from ${table} cross join lateral json_array_elements_text(${record(table)} -> 'from') as t (value)
     where ${condition} union select (${record(table)} ->> 'id') collate "C" from ${table} where ${condition}`,
};

/** A batch is small, and compiling its questions would cost more than answering them. */
export const WITHOUT_JIT = 'set local jit = off';

/** Readings that are held back move to the default partition when no more than so many keep a partition alive. */
const FEW = 1000;

/** Drops the partitions of readings that are wholly older and hold nothing but what is held back. */
export async function dropEmptied(client: Client, beforeUs: number): Promise<void> {
  for (const { name, toUs } of await partitionsOf(client, 'reading')) {
    if (toUs > beforeUs) continue;
    const { rows } = await client.query<{ n: number; held: number }>(
      `select count(*) as n, count(h.id) as held from (select id from ${name} limit ${FEW + 1}) as r left join reading_held as h using (id)`,
    );
    const { n, held } = rows[0]!;
    if (n > FEW || held < n) continue;
    await client.query(`alter table reading detach partition ${name}`);
    await client.query(`insert into reading overriding system value select * from ${name}`);
    await client.query(`drop table ${name}`);
  }
}
