/**
 * The ledger in one file, with SQLite on threads of its own: while a commit waits for the disk, readings go on coming in and being
 * judged, and while somebody asks the archive, commits go on. Should the thread that writes end by itself (a defect, or no memory left),
 * the error goes up as it would without a thread and ends Node-RED: what was not answered was not acknowledged either and comes again.
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
import { cellsInLine } from '../reading-cells';
import type { ArchiveMethod } from './archive';
import { Checkpointer } from './checkpointer';
import type { Durability } from './database-file';
import { identityOf } from './file-identity';
import { forwardClock } from './forward-clock';
import { LedgerThread } from './ledger-thread';
import type { DeliveryQuery } from './outbox';
import { isOfTheFlow, QuestionThreads } from './question-threads';
import {
  type ArgumentsOf,
  type Call,
  openPlaces,
  type PackedPlaces,
  type PlainMethod,
  type ResultOf,
  type ThreadOrders,
} from './thread-talk';

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
  /** what the thread that writes goes by */
  private told: { readonly durability: Durability; readonly days: number } | undefined;
  private thread: LedgerThread<Call> | undefined;
  private questions: QuestionThreads | undefined;
  private checkpointer: Checkpointer | undefined;
  private opening: Promise<void> | undefined;

  constructor(private readonly options: ThreadedLedgerOptions) {
    this.label = basename(options.file);
    this.durability = options.durability;
  }

  /** What was insisted on before it resolves holds, also where it was open already. */
  async open(): Promise<void> {
    this.opening ??= this.start().catch((cause) => {
      this.opening = undefined;
      throw cause;
    });
    await this.opening;
    await this.agree();
  }

  async close(): Promise<void> {
    const { thread, questions, checkpointer } = this;
    if (!thread) return;
    this.questions = undefined;
    this.checkpointer = undefined;
    try {
      // First, so that it is the last connection that is closed by the one that writes: then the log goes into the file.
      await Promise.all([questions?.end(), checkpointer?.end()]);
      await this.ask('close');
    } finally {
      this.thread = undefined;
      this.opening = undefined;
      await thread.end();
    }
  }

  /** From the next open() on, which tells should it fail. */
  insistOnFull(): void {
    this.durability = 'full';
  }

  /** How long readings must stay has changed; rejects when that cannot be told to the thread. */
  retentionChanged(): Promise<void> {
    return this.agree();
  }

  async admit(readings: readonly AdmittedReading[], rejections: readonly Rejection[]): Promise<Admission> {
    const call = { do: 'admit', cells: cellsInLine(readings), rejections: JSON.stringify(rejections) } as const;
    const size = readings.length + rejections.length;
    const packed = (await this.demandThread().call(call, rejections, size)) as PackedPlaces;
    this.checkpointer?.wrote({ readings: size });
    return openPlaces(packed);
  }
  async keep(record: Finding | Rejection, how?: 'anew'): Promise<{ readonly isNew: boolean }> {
    const body = JSON.stringify(record);
    const kept = (await this.demandThread().call({ do: 'keep', body, how }, [record], 1)) as { isNew: boolean };
    this.checkpointer?.wrote({ others: 1 });
    return kept;
  }
  async saveAlert(alert: Alert, deliveries: readonly Delivery[] = []): Promise<boolean> {
    const call = { do: 'saveAlert', args: [alert, deliveries] } as const;
    const isSaved = (await this.demandThread().call(call, [alert], 1 + deliveries.length)) as boolean;
    this.checkpointer?.wrote({ others: 1 + deliveries.length });
    return isSaved;
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
  turnedAside(terminals: readonly string[]) {
    return this.ask('turnedAside', terminals);
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
    return this.askArchive('alertList', query);
  }
  alertHistory(key: string) {
    return this.askArchive('alertHistory', key);
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
    return query.state === 'waiting' ? this.ask('deliveries', query) : this.askArchive('deliveries', query);
  }

  records(query: RecordQuery) {
    return isOfTheFlow(query) ? this.ask('records', query) : this.askArchive('records', query);
  }
  count(query: RecordQuery) {
    return this.askArchive('count', query);
  }
  verify(...known: ArgumentsOf<'verify'>) {
    return this.askArchive('verify', ...known);
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

  private async start(): Promise<void> {
    const { file, retainDays } = this.options;
    const wanted = { durability: this.durability, days: retainDays() };
    if (!this.thread) {
      this.thread = this.begun({ file, durability: wanted.durability, retainDays: wanted.days });
      this.told = wanted;
    }
    await this.ask('open');
    // A ledger in memory is seen by its own connection only.
    if (file === ':memory:') return;
    const orders = { file, identity: identityOf(file) };
    this.questions = new QuestionThreads(orders, this.label);
    this.checkpointer = new Checkpointer(orders);
  }

  private begun(orders: ThreadOrders): LedgerThread<Call> {
    return new LedgerThread({
      program: 'thread-work.js',
      orders,
      label: this.label,
      committed: (records) => this.listeners.tell(records),
      endedByItself: (cause) => {
        throw cause;
      },
    });
  }

  private async agree(): Promise<void> {
    const wanted = { durability: this.durability, days: this.options.retainDays() };
    if (!this.thread) return;
    if (wanted.durability !== this.told?.durability) await this.ask('insistOnFull');
    if (wanted.days !== this.told?.days) await this.thread.call({ do: 'retain', days: wanted.days });
    this.told = wanted;
  }

  private async ask<M extends PlainMethod>(method: M, ...args: ArgumentsOf<M>): Promise<ResultOf<M>> {
    return (await this.demandThread().call({ do: method, args })) as ResultOf<M>;
  }

  /** Sees what was committed before it is asked; waits for no commit, and none waits for it. */
  private async askArchive<M extends ArchiveMethod>(method: M, ...args: ArgumentsOf<M>): Promise<ResultOf<M>> {
    return this.questions ? ((await this.questions.ask(method, args)) as ResultOf<M>) : this.ask(method, ...args);
  }

  private demandThread(): LedgerThread<Call> {
    if (!this.thread) throw new Trouble('ledger-closed', `ledger ${this.label} is not open`);
    return this.thread;
  }
}
