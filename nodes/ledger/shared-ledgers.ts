/** One ledger object a file or database: two config nodes that name the same one share it, and the last one to leave closes it. */
import { realpathSync } from 'node:fs';
import { basename, dirname, join, resolve } from 'node:path';
import type { Ledger } from './ledger';
import { PostgresLedger } from './postgres/postgres-ledger';
import { type Durability, SqliteLedger } from './sqlite/sqlite-ledger';

interface Shared<L extends Ledger> {
  readonly ledger: L;
  users: number;
}

export interface Borrowed {
  readonly ledger: Ledger;
  /** commits what is pending and closes, when nobody else uses it */
  giveBack(): Promise<void>;
}

const files = new Map<string, Shared<SqliteLedger>>();
const databases = new Map<string, Shared<PostgresLedger>>();

export function borrowLedger(file: string, durability: Durability): Borrowed {
  const path = file === ':memory:' ? file : realPath(file);
  const entry = take(files, path, () => new SqliteLedger({ file: path, durability }));
  if (durability === 'full') entry.ledger.insistOnFull();
  return lent(files, path, entry);
}

export function borrowPostgresLedger(connection: string): Borrowed {
  return lent(
    databases,
    connection,
    take(databases, connection, () => new PostgresLedger({ connection })),
  );
}

function take<L extends Ledger>(shared: Map<string, Shared<L>>, name: string, make: () => L): Shared<L> {
  const entry = shared.get(name) ?? { ledger: make(), users: 0 };
  shared.set(name, entry);
  entry.users++;
  return entry;
}

function lent<L extends Ledger>(shared: Map<string, Shared<L>>, name: string, entry: Shared<L>): Borrowed {
  let given = false;
  return {
    ledger: entry.ledger,
    async giveBack() {
      if (given) return;
      given = true;
      if (--entry.users > 0) return;
      shared.delete(name);
      await entry.ledger.close();
    },
  };
}

/** Two names of one folder are one folder; a folder that does not exist is told of when the file is opened. */
function realPath(file: string): string {
  const path = resolve(file);
  try {
    return join(realpathSync(dirname(path)), basename(path));
  } catch {
    return path;
  }
}
