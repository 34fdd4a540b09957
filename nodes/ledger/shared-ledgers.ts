/** One ledger object a file: two config nodes that name the same file share it, and the last one to leave closes it. */
import { realpathSync } from 'node:fs';
import { basename, dirname, join, resolve } from 'node:path';
import type { Ledger } from './ledger';
import { type Durability, SqliteLedger } from './sqlite/sqlite-ledger';

interface Shared {
  readonly ledger: SqliteLedger;
  users: number;
}

export interface Borrowed {
  readonly ledger: Ledger;
  /** commits what is pending and closes, when nobody else uses it */
  giveBack(): Promise<void>;
}

const shared = new Map<string, Shared>();

export function borrowLedger(file: string, durability: Durability): Borrowed {
  const path = file === ':memory:' ? file : realPath(file);
  const entry = shared.get(path) ?? { ledger: new SqliteLedger({ file: path, durability }), users: 0 };
  shared.set(path, entry);
  entry.users++;
  if (durability === 'full') entry.ledger.insistOnFull();
  let given = false;
  return {
    ledger: entry.ledger,
    async giveBack() {
      if (given) return;
      given = true;
      if (--entry.users > 0) return;
      shared.delete(path);
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
