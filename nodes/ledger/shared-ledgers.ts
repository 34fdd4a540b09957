/** One ledger object a file or database: two config nodes that name the same one share it, and the last one to leave closes it. */
import { realpathSync } from 'node:fs';
import { basename, dirname, join, resolve } from 'node:path';
import type { ConnectionOptions } from 'node:tls';
import type { Ledger } from './ledger';
import type { Stretch } from './postgres/calendar';
import { PostgresLedger } from './postgres/postgres-ledger';
import type { Durability } from './sqlite/database-file';
import { ThreadedLedger } from './sqlite/threaded-ledger';

interface Shared<L extends Ledger> {
  readonly ledger: L;
  /** one entry a user: how many days readings must stay at least */
  readonly retainDays: Map<object, number>;
}

export interface Borrowed {
  readonly ledger: Ledger;
  /** commits what is pending and closes, when nobody else uses it */
  giveBack(): Promise<void>;
}

const files = new Map<string, Shared<ThreadedLedger>>();
const databases = new Map<string, Shared<PostgresLedger>>();

export function borrowLedger(file: string, durability: Durability, days: number): Borrowed {
  const path = file === ':memory:' ? file : realPath(file);
  const borrowed = borrow(
    files,
    path,
    days,
    (retainDays) => new ThreadedLedger({ file: path, durability, retainDays }),
  );
  if (durability === 'full') borrowed.ledger.insistOnFull();
  return borrowed;
}

export interface PostgresUse {
  readonly connection: string;
  readonly partition: Stretch;
  readonly tls?: ConnectionOptions;
}

export function borrowPostgresLedger(use: PostgresUse, days: number): Borrowed {
  const name = JSON.stringify([use.connection, use.tls ?? null]);
  return borrow(databases, name, days, (retainDays) => new PostgresLedger({ ...use, retainDays }));
}

/** Who wants readings to stay longest is heeded. */
function borrow<L extends Ledger & { retentionChanged?(): Promise<void> }>(
  shared: Map<string, Shared<L>>,
  name: string,
  days: number,
  make: (retainDays: () => number) => L,
): Borrowed & { readonly ledger: L } {
  const known = shared.get(name);
  const retainDays = known?.retainDays ?? new Map<object, number>();
  const entry = known ?? { ledger: make(() => Math.max(...retainDays.values())), retainDays };
  shared.set(name, entry);
  const user = {};
  retainDays.set(user, days);
  return {
    ledger: entry.ledger,
    async giveBack() {
      if (!retainDays.delete(user)) return;
      if (retainDays.size > 0) return entry.ledger.retentionChanged?.();
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
