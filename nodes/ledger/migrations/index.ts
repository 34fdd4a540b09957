/** The steps that bring a database of any earlier version to this one. A step that was ever released is never changed. */
import type { CreateTableBuilder, Kysely, Migration, MigrationProvider } from 'kysely';
import { firstTables } from './0001-first-tables';
import { chain } from './0002-chain';
import { chainByTable } from './0003-chain-by-table';
import { claims } from './0004-claims';
import { partitions } from './0005-partitions';
import { views } from './0006-views';
import { letGo } from './0007-let-go';
import { letGoViews } from './0008-let-go-views';
import { sourcesOnce } from './0009-sources-once';
import { alertDue } from './0010-alert-due';
import { refusals } from './0011-refusals';

/** What the databases write differently. */
export interface DialectWords {
  /** adds the column `seq`: counts up in the order of storing, never used twice, primary key */
  seq<T extends string>(table: CreateTableBuilder<T, never>): CreateTableBuilder<T, 'seq'>;
  /** column type of a record as JSON */
  readonly json: 'text' | 'json' | 'jsonb';
  readonly hasPartitions: boolean;
  /** a member of a record in a view; for use after `body` */
  member(type: 'text' | 'number' | 'boolean' | 'json', ...path: (string | number)[]): string;
  /** what stands in a view after the table, so that members can be taken */
  readonly body: string;
  /** microseconds since 1970 as an instant of the database */
  instant(column: string): string;
  /** a function from an instant to microseconds, where a view needs one to be asked by time */
  timeFunction?(name: string): string;
}

// biome-ignore lint/suspicious/noExplicitAny: a migration speaks of the tables as they were then
export type AnyDatabase = Kysely<any>;
export type Step = (db: AnyDatabase, words: DialectWords) => Promise<void>;

const STEPS: Readonly<Record<string, Step>> = {
  '0001-first-tables': firstTables,
  '0002-chain': chain,
  '0003-chain-by-table': chainByTable,
  '0004-claims': claims,
  '0005-partitions': (db, words) => (words.hasPartitions ? partitions(db, words) : Promise.resolve()),
  '0006-views': views,
  '0007-let-go': letGo,
  '0008-let-go-views': letGoViews,
  '0009-sources-once': (db, words) => (words.hasPartitions ? Promise.resolve() : sourcesOnce(db, words)),
  '0010-alert-due': alertDue,
  '0011-refusals': refusals,
};

export function ledgerMigrations(words: DialectWords): MigrationProvider {
  const migrations = Object.entries(STEPS).map(([name, step]): [string, Migration] => [
    name,
    { up: (db) => step(db, words) },
  ]);
  return { getMigrations: async () => Object.fromEntries(migrations) };
}
