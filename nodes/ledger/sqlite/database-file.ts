/** Opening the file: is it ours, may it be written, does it keep what it is told. */
import { existsSync } from 'node:fs';
import { basename, dirname } from 'node:path';
import type { DatabaseSync } from 'node:sqlite';
import { Kysely, Migrator } from 'kysely';
import { Trouble } from '../../kit/trouble';
import { ledgerMigrations } from '../migrations';
import type { LedgerTables } from '../schema';
import { NodeSqliteDialect, sqliteWords } from './dialect';
import { identityOf } from './file-identity';
import { StoreTrouble } from './store-trouble';

export type Durability = 'full' | 'normal';

/** 'PHLM': marks a SQLite file as a ledger of ours (pragma application_id). */
const APPLICATION_ID = 0x50484c4d;
const OPENING_TIMEOUT_MS = 2000;
/** Waiting for a lock holds up whoever asks the ledger, so it is short; the write is tried again a little later. */
const BUSY_TIMEOUT_MS = 50;

/**
 * Indexes are written at many places, so a batch touches some hundreds of pages: a larger cache keeps them at hand, and
 * checkpoints that come less often write each of them once for many batches. As a rule the checkpointer is there before this limit.
 */
const PRAGMAS = [
  'journal_mode = wal',
  'cache_size = -32768',
  'wal_autocheckpoint = 16000',
  'journal_size_limit = 67108864',
  'temp_store = memory',
];

export function openFile(file: string, pragmas: readonly string[]): DatabaseSync {
  if (file !== ':memory:' && !existsSync(dirname(file))) {
    throw new Trouble(
      'ledger-cannot-open',
      `ledger ${file}: the folder ${dirname(file)} does not exist; create it, or name a file in one that does`,
    );
  }
  const database = new (sqlite().DatabaseSync)(file, { enableForeignKeyConstraints: true });
  try {
    database.exec(`pragma busy_timeout = ${OPENING_TIMEOUT_MS}`);
    claimFile(database, file);
    for (const pragma of [...PRAGMAS, ...pragmas]) database.exec(`pragma ${pragma}`);
    return database;
  } catch (cause) {
    database.close();
    throw cause;
  }
}

/** What sorts a whole archive does it on the disk, and waits as long as it must: it holds up no commit. */
const QUESTION_PRAGMAS = ['busy_timeout = 5000', 'cache_size = -16384'];

/** A second connection, to read only, to the file that is open for writing under this identity. */
export function openForQuestions(file: string, identity: string | undefined): DatabaseSync {
  const database = new (sqlite().DatabaseSync)(file, { readOnly: true });
  try {
    if (identityOf(file) !== identity) throw moved(file);
    for (const pragma of QUESTION_PRAGMAS) database.exec(`pragma ${pragma}`);
    return database;
  } catch (cause) {
    database.close();
    throw cause;
  }
}

export function setDurability(database: DatabaseSync, durability: Durability): void {
  database.exec(`pragma synchronous = ${durability}`);
}

/** Brings the tables to this version; the way to ask free questions of the database. */
export async function migrate(database: DatabaseSync, file: string): Promise<Kysely<LedgerTables>> {
  const kysely = new Kysely<LedgerTables>({ dialect: new NodeSqliteDialect(database) });
  const { error } = await new Migrator({ db: kysely, provider: ledgerMigrations(sqliteWords) }).migrateToLatest();
  if (error instanceof Error && error.message.startsWith('corrupted migrations')) {
    throw new Trouble(
      'ledger-newer',
      `ledger ${file}: it was made by a newer version of this package (${error.message}); update the package`,
    );
  }
  if (error) throw error;
  database.exec(`pragma busy_timeout = ${BUSY_TIMEOUT_MS}`);
  return kysely;
}

export const moved = (file: string): StoreTrouble =>
  new StoreTrouble(
    'ledger-moved',
    `ledger ${basename(file)}: ${file} was moved, deleted or replaced while open; put it back, or deploy again to go on with what is there now`,
  );

function sqlite(): typeof import('node:sqlite') {
  try {
    return require('node:sqlite');
  } catch {
    throw new Trouble(
      'ledger-node-too-old',
      `the ledger needs Node.js 22.13 or newer (node:sqlite); this is ${process.version}`,
    );
  }
}

/** A new file is marked as ours; somebody else's database is left alone. */
function claimFile(database: DatabaseSync, file: string): void {
  const { application_id: mark } = database.prepare('pragma application_id').get() as { application_id: number };
  if (mark === APPLICATION_ID) return;
  const { n: tables } = database.prepare('select count(*) as n from sqlite_master').get() as { n: number };
  if (mark !== 0 || tables > 0) {
    throw new Trouble(
      'ledger-foreign-file',
      `ledger ${file}: the file is a database of another program; name another file`,
    );
  }
  database.exec(`pragma application_id = ${APPLICATION_ID}`);
}
