/**
 * The ledger in one file, with SQLite on a thread of its own: while a commit waits for the disk, readings go on coming in and being
 * judged. Should the thread end by itself (a defect, or no memory left), the error goes up as it would without a thread and ends Node-RED:
 * what was not answered was not acknowledged either and comes again.
 */
import { basename } from 'node:path';
import type { Alert, Finding, PhaseloomRecord, Rejection } from '../../../lib/records';
import { Trouble } from '../../kit/trouble';
import { CommitListeners } from '../commit-listeners';
import {
  type Admission,
  type AdmittedReading,
  type AlertListQuery,
  type AlertQuery,
  type Delivery,
  type Ledger,
  type LedgerHealth,
  notOpen,
  type RecordQuery,
} from '../ledger';
import type { Durability } from './database-file';
import { forwardClock } from './forward-clock';
import { LedgerThread } from './ledger-thread';
import type { DeliveryQuery } from './outbox';
import { cellsOf } from './reading-cells';
import { type ArgumentsOf, openPlaces, type PackedPlaces, type PlainMethod, type ResultOf } from './thread-talk';

export interface ThreadedLedgerOptions {
  /** a path, or ':memory:' */
  readonly file: string;
  readonly durability: Durability;
  readonly retainDays: () => number;
}

export class ThreadedLedger implements Ledger {
  readonly label: string;
  private readonly listeners = new CommitListeners();
  private readonly clock = forwardClock(() => Math.max(Date.now() * 1000, this.thread?.clockUs ?? 0));
  private durability: Durability;
  private thread: LedgerThread | undefined;
  private opening: Promise<void> | undefined;

  constructor(private readonly options: ThreadedLedgerOptions) {
    this.label = basename(options.file);
    this.durability = options.durability;
  }

  open(): Promise<void> {
    this.thread ??= new LedgerThread(
      { file: this.options.file, durability: this.durability, retainDays: this.options.retainDays() },
      this.label,
      (records) => this.listeners.tell(records),
    );
    this.opening ??= this.ask('open').catch((cause) => {
      this.opening = undefined;
      throw cause;
    });
    return this.opening;
  }

  async close(): Promise<void> {
    const { thread } = this;
    if (!thread) return;
    try {
      await this.ask('close');
    } finally {
      this.thread = undefined;
      this.opening = undefined;
      await thread.end();
    }
  }

  insistOnFull(): void {
    this.durability = 'full';
    if (this.thread) void this.ask('insistOnFull');
  }

  /** How long readings must stay has changed. */
  retentionChanged(): void {
    void this.thread?.call({ do: 'retain', days: this.options.retainDays() });
  }

  async admit(readings: readonly AdmittedReading[], rejections: readonly Rejection[]): Promise<Admission> {
    const call = { do: 'admit', cells: cellsOf(readings), rejections: JSON.stringify(rejections) } as const;
    const size = readings.length + rejections.length;
    return openPlaces((await this.demandThread().call(call, rejections, size)) as PackedPlaces);
  }
  async keep(record: Finding | Rejection, how?: 'anew'): Promise<{ readonly isNew: boolean }> {
    const body = JSON.stringify(record);
    return (await this.demandThread().call({ do: 'keep', body, how }, [record], 1)) as { isNew: boolean };
  }
  async saveAlert(alert: Alert, deliveries: readonly Delivery[] = []): Promise<boolean> {
    const call = { do: 'saveAlert', args: [alert, deliveries] } as const;
    return (await this.demandThread().call(call, [alert], 1 + deliveries.length)) as boolean;
  }

  head() {
    return this.ask('head');
  }
  readingsAfter(...args: ArgumentsOf<'readingsAfter'>) {
    return this.ask('readingsAfter', ...args);
  }
  latestReadings(...args: ArgumentsOf<'latestReadings'>) {
    return this.ask('latestReadings', ...args);
  }
  readingsBetween(...args: ArgumentsOf<'readingsBetween'>) {
    return this.ask('readingsBetween', ...args);
  }
  cursor(name: string) {
    return this.ask('cursor', name);
  }
  advance(name: string, seq: number) {
    return this.ask('advance', name, seq);
  }

  alerts(query: AlertQuery = {}) {
    return this.ask('alerts', query);
  }
  alertList(query: AlertListQuery) {
    return this.ask('alertList', query);
  }
  alertHistory(key: string) {
    return this.ask('alertHistory', key);
  }

  clockUs(): number {
    return this.clock();
  }
  async enqueue(deliveries: readonly Delivery[]): Promise<void> {
    const body = JSON.stringify(deliveries);
    await this.demandThread().call({ do: 'enqueue', body }, [], deliveries.length);
  }
  claimDue(...args: ArgumentsOf<'claimDue'>) {
    return this.ask('claimDue', ...args);
  }
  accepted(seq: number, atUs: number, answer: string) {
    return this.ask('accepted', seq, atUs, answer);
  }
  failed(seq: number, error: string, retryAtUs: number, isRefusal = false) {
    return this.ask('failed', seq, error, retryAtUs, isRefusal);
  }
  abandoned(seq: number, atUs: number, error: string) {
    return this.ask('abandoned', seq, atUs, error);
  }
  deliveries(query: DeliveryQuery) {
    return this.ask('deliveries', query);
  }

  records(query: RecordQuery) {
    return this.ask('records', query);
  }
  count(query: RecordQuery) {
    return this.ask('count', query);
  }
  verify(...known: ArgumentsOf<'verify'>) {
    return this.ask('verify', ...known);
  }
  letGo(days: number) {
    return this.ask('letGo', days);
  }
  async health(): Promise<LedgerHealth> {
    return this.thread ? this.ask('health') : notOpen(this.label);
  }

  onCommit(listener: (records: readonly PhaseloomRecord[]) => void): () => void {
    return this.listeners.add(listener);
  }

  private async ask<M extends PlainMethod>(method: M, ...args: ArgumentsOf<M>): Promise<ResultOf<M>> {
    return (await this.demandThread().call({ do: method, args })) as ResultOf<M>;
  }

  private demandThread(): LedgerThread {
    if (!this.thread) throw new Trouble('ledger-closed', `ledger ${this.label} is not open`);
    return this.thread;
  }
}
