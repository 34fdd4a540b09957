/** Kysely over one node:sqlite connection. */
import type { DatabaseSync, SQLInputValue, StatementSync } from 'node:sqlite';
import {
  CompiledQuery,
  type DatabaseConnection,
  type DatabaseIntrospector,
  type Dialect,
  type DialectAdapter,
  type Driver,
  type Kysely,
  type QueryCompiler,
  type QueryResult,
  SqliteAdapter,
  SqliteIntrospector,
  SqliteQueryCompiler,
} from 'kysely';
import type { DialectWords } from '../migrations';
import { boundedRows } from './bounded-rows';

export class NodeSqliteDialect implements Dialect {
  constructor(private readonly database: DatabaseSync) {}

  createDriver(): Driver {
    return new NodeSqliteDriver(this.database);
  }
  createQueryCompiler(): QueryCompiler {
    return new SqliteQueryCompiler();
  }
  createAdapter(): DialectAdapter {
    return new TransactionalDdl();
  }
  // biome-ignore lint/suspicious/noExplicitAny: the signature of Dialect
  createIntrospector(db: Kysely<any>): DatabaseIntrospector {
    return new SqliteIntrospector(db);
  }
}

/** Kysely assumes the contrary; SQLite does roll back changes of the schema, and a migration cut short must leave nothing behind. */
class TransactionalDdl extends SqliteAdapter {
  override get supportsTransactionalDdl(): boolean {
    return true;
  }
}

/** The connection belongs to the ledger, which opens and closes it. Statements are synchronous: there is nothing to queue for. */
class NodeSqliteDriver implements Driver {
  private readonly connection: NodeSqliteConnection;

  constructor(database: DatabaseSync) {
    this.connection = new NodeSqliteConnection(database);
  }

  async init(): Promise<void> {}
  async acquireConnection(): Promise<DatabaseConnection> {
    return this.connection;
  }
  async beginTransaction(connection: DatabaseConnection): Promise<void> {
    await connection.executeQuery(CompiledQuery.raw('begin immediate'));
  }
  async commitTransaction(connection: DatabaseConnection): Promise<void> {
    await connection.executeQuery(CompiledQuery.raw('commit'));
  }
  async rollbackTransaction(connection: DatabaseConnection): Promise<void> {
    await connection.executeQuery(CompiledQuery.raw('rollback'));
  }
  async releaseConnection(): Promise<void> {}
  async destroy(): Promise<void> {}
}

/** Nodes ask the same few questions for every reading: preparing one anew costs more than its answer. */
const STATEMENTS_KEPT = 100;

class NodeSqliteConnection implements DatabaseConnection {
  private readonly kept = new Map<string, StatementSync>();

  constructor(private readonly database: DatabaseSync) {}

  async executeQuery<R>({ sql, parameters }: CompiledQuery): Promise<QueryResult<R>> {
    return { rows: boundedRows(this.prepared(sql), parameters as SQLInputValue[]) as R[] };
  }

  private prepared(sql: string): StatementSync {
    const known = this.kept.get(sql);
    if (known) return known;
    const made = this.database.prepare(sql);
    if (this.kept.size >= STATEMENTS_KEPT) this.kept.delete(this.kept.keys().next().value!);
    this.kept.set(sql, made);
    return made;
  }

  async *streamQuery<R>({ sql, parameters }: CompiledQuery): AsyncIterableIterator<QueryResult<R>> {
    for (const row of this.database.prepare(sql).iterate(...(parameters as SQLInputValue[])))
      yield { rows: [row as R] };
  }
}

export const sqliteWords: DialectWords = {
  seq: (table) => table.addColumn('seq', 'integer', (c) => c.primaryKey().autoIncrement()),
  json: 'text',
  hasPartitions: false,
  body: '',
  member: (_type, ...path) => `body ->> '$${path.map((p) => (typeof p === 'number' ? `[${p}]` : `.${p}`)).join('')}'`,
  instant: (column) =>
    `strftime('%Y-%m-%dT%H:%M:%S', ${column} / 1000000, 'unixepoch') || printf('.%06dZ', ${column} % 1000000)`,
};
