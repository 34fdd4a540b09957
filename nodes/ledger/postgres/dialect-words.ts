/** What PostgreSQL writes differently. */
import type { DialectWords } from '../migrations';

export const postgresWords: DialectWords = {
  seq: (table) => table.addColumn('seq', 'bigint', (c) => c.generatedAlwaysAsIdentity().primaryKey()),
  json: 'json',
  hasPartitions: true,
  // The one text PostgreSQL cannot hold is replaced, once a row: a member of a single record must not spoil the question.
  body: String.raw` cross join lateral (select replace(body::text, '\u0000', '\ufffd')::jsonb as j offset 0) as record`,
  member(type, ...path) {
    const text = `j ${type === 'json' ? '#>' : '#>>'} '{${path.join(',')}}'`;
    return type === 'number' ? `(${text})::float8` : type === 'boolean' ? `(${text})::boolean` : text;
  },
  instant: (column) => `timestamptz 'epoch' + ${column} * interval '1 microsecond'`,
  timeFunction: (name) =>
    `create function ${name}(at timestamptz) returns bigint language sql immutable parallel safe
     as $$ select (extract(epoch from at) * 1000000)::bigint $$`,
};
