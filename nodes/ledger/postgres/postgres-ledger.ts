/** The ledger in a PostgreSQL database, which several workers may share. */
import type { Alert, Finding, PhaseloomRecord, Rejection } from '../../../lib/records';
import { asError, Trouble } from '../../kit/trouble';
import { listAlerts } from '../alert-list';
import { CommitListeners } from '../commit-listeners';
import type {
  AdmittedReading,
  AlertListQuery,
  AlertQuery,
  Delivery,
  KnownLink,
  Ledger,
  LedgerHealth,
  RecordQuery,
} from '../ledger';
import { countRecords, findRecords } from '../record-query';
import type { DeliveryQuery } from '../sqlite/outbox';
import { storeBatches } from './admission';
import * as alertRows from './alerts';
import { verify } from './chain';
import { type Client, explained, labelOf, storable } from './connection';
import { againAfterDeadlock } from './deadlock';
import { storeFindings } from './findings';
import { type DatabaseOptions, OpenDatabase } from './open-database';
import * as outbox from './outbox';
import { PostgresSharing } from './postgres-sharing';
import * as readingRows from './readings';
import { storeRejections } from './rejections';
import { ServerClock } from './server-clock';
import type { StoredRow } from './stored-row';
import { advance, cursor, readCounts } from './tally';
import type { Store } from './write';

export interface PostgresLedgerOptions extends DatabaseOptions {
  readonly nowUs?: () => number;
}

const systemClockUs = () => Date.now() * 1000;
/** Not set by anybody while the process lives: what was measured against it stays true. */
const steadyClockUs = () => (performance.timeOrigin + performance.now()) * 1000;
const EMPTY = { pending: 0, readings: 0, rejections: 0, findings: 0, alertsOpen: 0, deliveriesWaiting: 0 };

export class PostgresLedger implements Ledger {
  readonly label: string;
  readonly sharing: PostgresSharing;
  private readonly listeners = new CommitListeners();
  private readonly serverClock: ServerClock;
  private readonly nowUs: () => number;
  private readonly storeFindings: ReturnType<typeof storeFindings>;
  private parts: OpenDatabase | undefined;
  private opening: Promise<void> | undefined;
  private openingError = '';

  constructor(private readonly options: PostgresLedgerOptions) {
    this.label = labelOf(options.connection);
    this.nowUs = options.nowUs ?? systemClockUs;
    this.storeFindings = storeFindings(this.nowUs);
    this.serverClock = new ServerClock(options.nowUs ?? steadyClockUs);
    this.sharing = new PostgresSharing((question) => this.read(question), this.nowUs);
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
    this.parts = undefined;
    this.opening = undefined;
    await parts.close();
  }

  admit(readings: readonly AdmittedReading[], rejections: readonly Rejection[]) {
    return this.write(readings.length + rejections.length, { readings, rejections }, storeBatches);
  }
  keep(record: Finding | Rejection, how?: 'anew') {
    return record.kind === 'rejection'
      ? this.write(1, record, storeRejections)
      : this.write(1, { finding: record, how }, this.storeFindings);
  }

  head() {
    return this.read(({ pool }) => readingRows.head(pool));
  }
  readingsAfter(seq: number, limit: number, door?: string) {
    return this.read(({ pool }) => readingRows.readingsAfter(pool, seq, limit, door));
  }
  latestReadings(terminals: readonly string[], perTerminal: number, upToSeq?: number) {
    return this.read(({ pool }) => readingRows.latest(pool, terminals, perTerminal, upToSeq));
  }
  turnedAside(terminals: readonly string[]) {
    return this.read(({ pool }) => readingRows.turnedAside(pool, terminals));
  }
  readingsBetween(terminal: string, fromUs: number, toUs: number, limit: number) {
    return this.read(({ pool }) => readingRows.readingsBetween(pool, terminal, fromUs, toUs, limit));
  }
  cursor(name: string) {
    return this.read(({ pool }) => cursor(pool, name));
  }
  advance(name: string, seq: number) {
    return this.writeAlone(1, (client) => advance(client, name, seq, this.nowUs()));
  }

  saveAlert(alert: Alert, deliveries: readonly Delivery[] = []) {
    return this.writeAlone(1 + deliveries.length, async (client, stored) => {
      const row = await alertRows.save(client, alert);
      if (!row) return false;
      await outbox.enqueue(client, deliveries, this.nowUs());
      stored.push(row);
      return true;
    });
  }
  alerts(query: AlertQuery = {}) {
    return this.read(({ pool }) => alertRows.alerts(pool, query));
  }
  alertList(query: AlertListQuery) {
    return this.read(({ kysely }) => listAlerts(kysely, query));
  }
  alertHistory(key: string) {
    return this.read(({ pool }) => alertRows.history(pool, key));
  }

  enqueue(deliveries: readonly Delivery[]) {
    return this.writeAlone(deliveries.length, (client) => outbox.enqueue(client, deliveries, this.nowUs()));
  }
  clockUs(): number {
    return this.serverClock.nowUs();
  }
  claimDue(destination: string, limit: number, leaseMs: number) {
    return this.writeAlone(1, (client) => outbox.claimDue(client, destination, limit, leaseMs));
  }
  accepted(seq: number, atUs: number, answer: string) {
    return this.writeAlone(1, (client) => outbox.end(client, seq, { state: 'accepted', atUs, answer, error: null }));
  }
  failed(seq: number, error: string, retryAtUs: number, isRefusal = false) {
    return this.writeAlone(1, (client) => outbox.failed(client, seq, error, retryAtUs, isRefusal));
  }
  abandoned(seq: number, atUs: number, error: string) {
    return this.writeAlone(1, (client) => outbox.end(client, seq, { state: 'abandoned', atUs, answer: null, error }));
  }
  deliveries(query: DeliveryQuery) {
    return this.read(({ pool }) => outbox.deliveries(pool, query));
  }

  records(query: RecordQuery) {
    return this.read(({ kysely }) => findRecords(kysely, askable(query)));
  }
  count(query: RecordQuery) {
    return this.read(({ kysely }) => countRecords(kysely, askable(query)));
  }

  verify(known?: KnownLink) {
    return this.read(({ pool }) => verify(pool, known));
  }

  letGo(days: number) {
    return this.demandOpen().retention.letGo(days);
  }

  async health(): Promise<LedgerHealth> {
    const parts = this.parts;
    if (!parts) return { ok: false, error: this.openingError || `ledger ${this.label} is not open`, ...EMPTY };
    const { commits } = parts;
    try {
      const counts = await this.read(({ pool }) => readCounts(pool));
      return { ok: !commits.trouble, error: commits.trouble?.message ?? '', pending: commits.pending, ...counts };
    } catch (cause) {
      return { ok: false, error: asError(cause).message, ...EMPTY, pending: commits.pending };
    }
  }

  onCommit(listener: (records: readonly PhaseloomRecord[]) => void): () => void {
    return this.listeners.add(listener);
  }

  private async start(): Promise<void> {
    const { label, nowUs, serverClock, listeners, sharing } = this;
    this.parts = await OpenDatabase.open(this.options, {
      label,
      nowUs,
      serverClock,
      told: (records) => listeners.tell(records),
      readings: () => sharing.tellReadings(),
    });
  }

  private async write<I, T>(size: number, item: I, store: Store<I, T>): Promise<T> {
    return this.demandOpen().commits.add(size, item, store);
  }

  private writeAlone<T>(size: number, run: (client: Client, stored: StoredRow[]) => Promise<T>): Promise<T> {
    return this.write(size, undefined, async (client, _item, [stored]) => [await run(client, stored!)]);
  }

  private async read<T>(ask: (parts: OpenDatabase) => Promise<T>): Promise<T> {
    const parts = this.demandOpen();
    try {
      return await againAfterDeadlock(() => ask(parts));
    } catch (cause) {
      throw explained(cause, this.label);
    }
  }

  private demandOpen(): OpenDatabase {
    if (!this.parts) throw new Trouble('ledger-closed', `ledger ${this.label} is not open`);
    return this.parts;
  }
}

function askable(query: RecordQuery): RecordQuery {
  const texts = Object.entries(query).map(([name, value]) => [name, storable(value)]);
  return { ...Object.fromEntries(texts), ...(query.ids ? { ids: query.ids.map(storable) } : {}) };
}
