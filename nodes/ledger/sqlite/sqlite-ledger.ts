/** The ledger in one file, through Node's own SQLite. */
import { basename } from 'node:path';
import type { DatabaseSync } from 'node:sqlite';
import type { Alert, Finding, PhaseloomRecord, Rejection } from '../../../lib/records';
import { asError, Trouble } from '../../kit/trouble';
import { CommitListeners } from '../commit-listeners';
import {
  type AdmittedReading,
  type AlertListQuery,
  type AlertQuery,
  type Delivery,
  type KnownLink,
  type Ledger,
  type LedgerHealth,
  notOpen,
  type RecordQuery,
} from '../ledger';
import { type Cell, cellsInLine, READING_COLUMNS } from '../reading-cells';
import { type Row, runNow } from '../retention/question';
import { Retention } from '../retention/retention';
import { Archive } from './archive';
import { type Durability, migrate, moved, openFile, setDurability } from './database-file';
import { identityOf } from './file-identity';
import { forwardClock } from './forward-clock';
import { GroupCommit } from './group-commit';
import type { DeliveryQuery } from './outbox';
import { makeParts, type Parts } from './parts';
import { numbered, sqliteRetention } from './retention-words';
import { explained } from './store-trouble';
import { Transactions } from './transactions';

export type { Durability };

export interface SqliteLedgerOptions {
  /** a path, or ':memory:' */
  readonly file: string;
  /** full: what was committed outlives a power cut; normal: only a crash of the program, but a commit does not wait for the disk */
  readonly durability?: Durability;
  /** records that may wait for the store before no more are taken */
  readonly maxPending?: number;
  /** how long closing may take when the store is in trouble */
  readonly closeWithinMs?: number;
  /** further pragmas, e.g. 'cache_size = -65536' */
  readonly pragmas?: readonly string[];
  /** readings older than so many days are summed up and let go; left out or Infinity: none ever is */
  readonly retainDays?: () => number;
  readonly nowUs?: () => number;
}

interface Opened extends Parts {
  readonly database: DatabaseSync;
  readonly archive: Archive;
  readonly commits: GroupCommit;
  readonly retention: Retention;
}

const systemClockUs = () => Date.now() * 1000;

export class SqliteLedger implements Ledger {
  readonly label: string;
  private readonly listeners = new CommitListeners();
  private parts: Opened | undefined;
  private opening: Promise<void> | undefined;
  private openingError = '';
  private durability: Durability;
  private readonly nowUs: () => number;
  private checkedIdentityAt = 0;

  constructor(private readonly options: SqliteLedgerOptions) {
    this.label = basename(options.file);
    this.durability = options.durability ?? 'full';
    this.nowUs = options.nowUs ?? forwardClock(systemClockUs);
  }

  open(): Promise<void> {
    this.opening ??= this.start().catch((cause) => {
      this.opening = undefined;
      const error = asError(explained(cause, this.label));
      this.openingError = error.message;
      throw error;
    });
    return this.opening;
  }

  async close(): Promise<void> {
    await this.opening?.catch(() => {});
    const parts = this.parts;
    if (!parts) return;
    // A batch of it may wait among the commits, which end only when they are closed.
    const idle = parts.retention.close();
    await parts.commits.close();
    await idle;
    this.parts = undefined;
    this.opening = undefined;
    parts.database.close();
  }

  /** For one who needs every commit to outlive a power cut, where another was content with less. */
  insistOnFull(): void {
    this.durability = 'full';
    if (this.parts) setDurability(this.parts.database, 'full');
  }

  admit(readings: readonly AdmittedReading[], rejections: readonly Rejection[]) {
    return this.admitCells(cellsInLine(readings), rejections);
  }
  /** The same with the readings as they stand in columns. */
  admitCells(cells: readonly Cell[], rejections: readonly Rejection[]) {
    const size = cells.length / READING_COLUMNS.length + rejections.length;
    return this.write(size, (parts, stored) => parts.readings.admit(cells, rejections, stored), true);
  }
  /** `body`: its JSON, where that is at hand */
  keep(record: Finding | Rejection, how?: 'anew', body?: string) {
    return this.write(1, ({ readings, findings }, stored) => ({
      isNew: record.kind === 'rejection' ? readings.reject(record, stored) : findings.keep(record, stored, how, body),
    }));
  }

  head() {
    return this.read((parts) => parts.readings.head());
  }
  readingsAfter(seq: number, limit: number, door?: string) {
    return this.read((parts) => parts.readings.readingsAfter(seq, limit, door));
  }
  latestReadings(terminals: readonly string[], perTerminal: number, upToSeq?: number) {
    return this.read((parts) => parts.readings.latest(terminals, perTerminal, upToSeq));
  }
  turnedAside(terminals: readonly string[]) {
    return this.read((parts) => parts.readings.turnedAside(terminals));
  }
  readingsBetween(terminal: string, fromUs: number, toUs: number, limit: number) {
    return this.read((parts) => parts.readings.readingsBetween(terminal, fromUs, toUs, limit));
  }
  cursor(name: string) {
    return this.read((parts) => parts.places.cursor(name));
  }
  advance(name: string, seq: number) {
    return this.write(1, (parts) => parts.places.advance(name, seq));
  }

  /** Urgent, like the claim that follows: alerts are few, and somebody waits for them. */
  saveAlert(alert: Alert, deliveries: readonly Delivery[] = []) {
    const run = ({ alerts, outbox }: Parts, stored: PhaseloomRecord[]) => {
      if (!alerts.save(alert)) return false;
      outbox.enqueue(deliveries);
      stored.push(alert);
      return true;
    };
    return this.write(1 + deliveries.length, run, true);
  }
  alerts(query: AlertQuery = {}) {
    return this.read((parts) => parts.alerts.alerts(query));
  }
  alertList(query: AlertListQuery) {
    return this.read(({ archive }) => archive.alertList(query));
  }
  alertHistory(key: string) {
    return this.read(({ archive }) => archive.alertHistory(key));
  }

  enqueue(deliveries: readonly Delivery[]) {
    return this.write(deliveries.length, (parts) => parts.outbox.enqueue(deliveries));
  }
  clockUs(): number {
    return this.nowUs();
  }
  claimDue(destination: string, limit: number, leaseMs: number) {
    return this.write(1, (parts) => parts.outbox.claimDue(destination, limit, leaseMs), true);
  }
  accepted(seq: number, atUs: number, answer: string) {
    return this.write(1, (parts) => parts.outbox.accepted(seq, atUs, answer));
  }
  failed(seq: number, error: string, retryAtUs: number, isRefusal = false) {
    return this.write(1, (parts) => parts.outbox.failed(seq, error, retryAtUs, isRefusal));
  }
  abandoned(seq: number, atUs: number, error: string) {
    return this.write(1, (parts) => parts.outbox.abandoned(seq, atUs, error));
  }
  deliveries(query: DeliveryQuery) {
    return this.read(({ archive }) => archive.deliveries(query));
  }

  records(query: RecordQuery) {
    return this.read(({ archive }) => archive.records(query));
  }
  count(query: RecordQuery) {
    return this.read(({ archive }) => archive.count(query));
  }

  verify(known?: KnownLink) {
    return this.read(({ archive }) => archive.verify(known));
  }

  letGo(days: number) {
    return this.demandOpen().retention.letGo(days);
  }

  async health(): Promise<LedgerHealth> {
    const parts = this.parts;
    if (!parts) return notOpen(this.label, this.openingError || undefined);
    const { pending, trouble } = parts.commits;
    try {
      const counts = await this.read(({ tally, alerts, outbox }) => ({
        ...tally.read(),
        alertsOpen: alerts.openCount(),
        deliveriesWaiting: outbox.waitingCount(),
      }));
      const { reading: readings, rejection: rejections, finding: findings, ...others } = counts;
      return { ok: !trouble, error: trouble?.message ?? '', pending, readings, rejections, findings, ...others };
    } catch (cause) {
      return { ...notOpen(this.label, asError(cause).message), pending };
    }
  }

  onCommit(listener: (records: readonly PhaseloomRecord[]) => void): () => void {
    return this.listeners.add(listener);
  }

  private async start(): Promise<void> {
    const { file, pragmas = [], maxPending = 20_000, closeWithinMs = 5000 } = this.options;
    const database = openFile(file, pragmas);
    try {
      setDurability(database, this.durability);
      const kysely = await migrate(database, file);
      const identity = identityOf(file);
      const parts = makeParts(database, this.nowUs);
      const transactions = new Transactions(
        database,
        (cause) => explained(cause, this.label),
        () => this.demandSameFile(identity),
        () => parts.chain.seal(),
      );
      const commits = new GroupCommit(transactions, {
        maxPending,
        closeWithinMs,
        afterCommit: (stored) => this.listeners.tell(stored),
      });
      const retention = new Retention({
        words: sqliteRetention,
        nowUs: this.nowUs,
        days: this.options.retainDays ?? (() => Number.POSITIVE_INFINITY),
        transaction: (steps) =>
          this.write(1, () =>
            runNow(steps(), ({ sql, values }) => database.prepare(numbered(sql)).all(...values) as Row[]),
          ),
      });
      retention.start();
      this.parts = { database, archive: new Archive(kysely, parts), commits, retention, ...parts };
    } catch (cause) {
      database.close();
      throw cause;
    }
  }

  /** SQLite goes on writing into a file that was deleted, and all of it would be gone at the end. Looked at once a second. */
  private demandSameFile(identity: string | undefined): void {
    const now = performance.now();
    if (now - this.checkedIdentityAt < 1000) return;
    const { file } = this.options;
    if (identityOf(file) !== identity) throw moved(file);
    this.checkedIdentityAt = now;
  }

  private async write<T>(
    size: number,
    run: (parts: Parts, stored: PhaseloomRecord[]) => T,
    urgent = false,
  ): Promise<T> {
    const parts = this.demandOpen();
    return parts.commits.add<T>({ size, urgent, run: (stored) => run(parts, stored) });
  }

  private async read<T>(ask: (parts: Opened) => T | Promise<T>): Promise<T> {
    const parts = this.demandOpen();
    try {
      return await ask(parts);
    } catch (cause) {
      throw explained(cause, this.label);
    }
  }

  private demandOpen(): Opened {
    if (!this.parts) throw new Trouble('ledger-closed', `ledger ${this.label} is not open`);
    return this.parts;
  }
}
