/**
 * What other workers committed, by LISTEN and NOTIFY of PostgreSQL. A notice says only that something came; what it was is read from the
 * tables after the last known place, so a notice that is lost costs a moment and nothing else.
 */
import type { Client as Connection, Pool } from 'pg';
import type { PhaseloomRecord } from '../../../lib/records';
import { asError } from '../../kit/trouble';
import type { Client } from './connection';
import type { StoredRow } from './stored-row';

/** Looked for when no notice comes, and tried again when the connection for notices is lost. */
const LOOK_MS = 2000;
const PAGE = 1000;
/** Own records remembered, so that they are not told of twice. */
const OWN = 20_000;
const TABLES = ['finding', 'rejection', 'alert_transition'] as const;

export interface NewsOptions {
  readonly pool: Pool;
  readonly schema: string;
  readonly connect: () => Connection;
  /** records that other workers stored */
  readonly told: (records: readonly PhaseloomRecord[]) => void;
  /** readings were stored, by whomever; also called now and then without reason */
  readonly readings: () => void;
}

interface Row {
  readonly seq: number;
  readonly id: string;
  readonly body: string;
}

export class News {
  private readonly own = new Set<string>();
  private readonly places = new Map<(typeof TABLES)[number], number>();
  private readonly channel: string;
  private connection: Connection | undefined;
  /** a connection is being opened */
  private opening: Promise<void> | undefined;
  private timer: NodeJS.Timeout | undefined;
  private looking: Promise<void> | undefined;
  private again = false;
  private closed = false;
  /** told once until it works again */
  private isWarned = false;

  constructor(private readonly options: NewsOptions) {
    this.channel = `phaseloom ${options.schema}`;
  }

  async open(): Promise<void> {
    for (const table of TABLES) this.places.set(table, await newest(this.options.pool, table));
    await this.listen();
    this.timer = setInterval(() => void this.round(), LOOK_MS);
    this.timer.unref();
  }

  async close(): Promise<void> {
    this.closed = true;
    clearInterval(this.timer);
    await this.looking;
    await this.opening;
    await this.connection?.end().catch(() => undefined);
  }

  /** The last thing in a transaction of this worker: others hear of it when it is committed. */
  async announce(client: Client, stored: readonly StoredRow[]): Promise<void> {
    const records = stored.filter(({ table }) => table !== 'reading');
    for (const { id } of records) this.own.add(id);
    for (const id of this.own) {
      if (this.own.size <= OWN) break;
      this.own.delete(id);
    }
    if (stored.length === 0) return;
    const what = `${records.length < stored.length ? 'r' : ''}${records.length > 0 ? 's' : ''}`;
    await client.query('select pg_notify($1, $2)', [this.channel, what]);
  }

  /** One connection at a time, however long it takes to open. */
  private listen(): Promise<void> {
    this.opening ??= this.connect().finally(() => {
      this.opening = undefined;
    });
    return this.opening;
  }

  private async connect(): Promise<void> {
    const connection = this.options.connect();
    const lost = () => {
      if (this.connection === connection) this.connection = undefined;
    };
    connection.on('error', lost);
    connection.on('end', lost);
    connection.on('notification', ({ payload = '' }) => {
      if (payload.includes('r')) this.options.readings();
      if (payload.includes('s')) this.look();
    });
    try {
      await connection.connect();
      await connection.query(`listen "${this.channel.replaceAll('"', '""')}"`);
      this.connection = connection;
    } catch {
      // Without notices the looking from time to time finds everything.
      await connection.end().catch(() => undefined);
    }
  }

  private async round(): Promise<void> {
    if (!this.connection) await this.listen();
    if (this.closed) return;
    this.options.readings();
    this.look();
  }

  private look(): void {
    this.again = true;
    if (this.closed) return;
    this.looking ??= this.lookOn().finally(() => {
      this.looking = undefined;
    });
  }

  private async lookOn(): Promise<void> {
    while (this.again && !this.closed) {
      this.again = false;
      for (const table of TABLES) {
        try {
          if (await this.readOn(table)) this.again = true;
          this.isWarned = false;
        } catch (cause) {
          this.warn(asError(cause));
          return;
        }
      }
    }
  }

  private warn(cause: Error): void {
    if (!this.closed && !this.isWarned) process.emitWarning(`news of the ledger: ${cause.message}`, 'PhaseloomWarning');
    this.isWarned = true;
  }

  /** True when there may be more. */
  private async readOn(table: (typeof TABLES)[number]): Promise<boolean> {
    const { rows } = await this.options.pool.query<Row>(
      `select seq, id, body from ${table} where seq > $1 order by seq limit $2`,
      [this.places.get(table), PAGE],
    );
    if (rows.length === 0) return false;
    this.places.set(table, rows.at(-1)!.seq);
    const others = rows.filter(({ id }) => !this.own.has(id)).map(({ body }) => JSON.parse(body) as PhaseloomRecord);
    if (others.length > 0) this.options.told(others);
    return rows.length === PAGE;
  }
}

async function newest(client: Client, table: string): Promise<number> {
  const { rows } = await client.query<{ seq: number }>(`select coalesce(max(seq), 0)::bigint as seq from ${table}`);
  return rows[0]!.seq;
}
