/** The steps that bring a database of any earlier version to this one. A step that was ever released is never changed. */
import type { CreateTableBuilder, Kysely, Migration, MigrationProvider } from 'kysely';
import { firstTables } from './0001-first-tables';
import { chain } from './0002-chain';
import { chainByTable } from './0003-chain-by-table';
import { claims } from './0004-claims';
import { partitions } from './0005-partitions';

/** What the databases write differently. */
export interface DialectWords {
  /** adds the column `seq`: counts up in the order of storing, never used twice, primary key */
  seq<T extends string>(table: CreateTableBuilder<T, never>): CreateTableBuilder<T, 'seq'>;
  /** column type of a record as JSON */
  readonly json: 'text' | 'json' | 'jsonb';
  readonly hasPartitions: boolean;
}

// biome-ignore lint/suspicious/noExplicitAny: a migration speaks of the tables as they were then
export type AnyDatabase = Kysely<any>;
export type Step = (db: AnyDatabase, words: DialectWords) => Promise<void>;

const STEPS: Readonly<Record<string, Step>> = {
  '0001-first-tables': firstTables,
  '0002-chain': chain,
  '0003-chain-by-table': chainByTable,
  '0004-claims': claims,
};
/** Only where the database knows partitions. */
const WITH_PARTITIONS: Readonly<Record<string, Step>> = { '0005-partitions': partitions };

export function ledgerMigrations(words: DialectWords): MigrationProvider {
  const migrations = Object.entries({ ...STEPS, ...(words.hasPartitions ? WITH_PARTITIONS : {}) }).map(
    ([name, step]): [string, Migration] => [name, { up: (db) => step(db, words) }],
  );
  return { getMigrations: async () => Object.fromEntries(migrations) };
}
