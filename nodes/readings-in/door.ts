/**
 * The door: messages in, readings and rejections stored in one transaction, only then acknowledged, only then sent into the flow.
 */
import type { Sharing } from '../kit/sharing';
import { Trouble } from '../kit/trouble';
import type { LedgerNode } from '../ledger/ledger';
import type { Adoption } from './adoption';
import { BatchReader } from './batch-reader';
import { Batcher } from './batcher';
import type { Held, Message } from './connection';
import { Dispatch } from './dispatch';
import type { DoorCounts, DoorOutput, DoorSettings, Entry, Item } from './door-contract';
import type { IntakeRules } from './intake';
import type { Mapping } from './mapping';
import type { Session } from './session';
import { type Committed, type Parcel, type Stored, Storing } from './storing';

/** Bytes held at once past which nothing more is taken. */
const HIGH_WATER_BYTES = 32 << 20;
const CLOSE_DEADLINE_MS = 9000;

export class Door {
  readonly counts: DoorCounts = { received: 0, stored: 0, duplicates: 0, rejected: 0, skipped: 0, mostPending: 0 };
  readonly storing: Storing<Item>;
  readonly dispatch: Dispatch;
  session: Session | undefined;
  /** where workers share the ledger */
  adoption: Adoption | undefined;
  /** how sessions of workers that are gone are adopted; set before start() */
  adopts: ((sharing: Sharing) => Adoption) | undefined;
  /** called when it is connected, or no longer */
  changed: () => void = () => undefined;
  /** sources of Sparkplug that have gone offline or out of step */
  staleSources: () => number = () => 0;
  readonly reader: BatchReader;
  private readonly batcher: Batcher<Item, readonly Parcel<Item>[], Committed<Item>>;
  private readonly highWater: number;
  private isClosing = false;
  private letGo: () => void = () => undefined;

  constructor(
    private readonly settings: DoorSettings,
    rules: IntakeRules,
    mapping: Mapping | undefined,
    private readonly ledgerNode: LedgerNode,
    private readonly output: DoorOutput,
  ) {
    // A broker that keeps to the window never reaches twice the window; one that does not is stopped there.
    this.highWater = 2 * settings.window;
    this.storing = new Storing(
      () => ledgerNode.ready(),
      settings.id,
      () => this.isClosing,
    );
    this.reader = new BatchReader(settings, rules, mapping, this.counts);
    this.dispatch = new Dispatch(settings, this.storing, output, this.counts, () => this.isClosing);
    this.batcher = new Batcher(
      settings,
      {
        read: (batch) => this.reader.read(batch),
        store: (parcels) => this.storing.store(parcels),
        finish: (batch, committed) => this.settle(batch, committed),
      },
      () => this.makeRoom(),
    );
  }

  /** Sends what an earlier run left unsent, then opens. */
  async start(): Promise<void> {
    this.letGo = this.ledgerNode.use();
    await this.dispatch.begin();
    if (this.isClosing) return;
    const sharing = this.ledgerNode.ledger?.sharing;
    if (sharing) this.adoption = this.adopts?.(sharing);
    await this.adoption?.start();
    if (this.isClosing) return;
    this.batcher.start();
    this.session?.start();
  }

  get pending(): number {
    return this.batcher.pending;
  }

  /** Why readings do not come in at the moment. */
  get trouble(): string | undefined {
    if (this.storing.trouble !== '') return this.storing.trouble;
    if (!this.session || this.session.state === 'connected') return undefined;
    return `not connected to the broker (${this.session.lastError || this.session.state})`;
  }

  /** Why the ledger takes nothing, as far as it says so. */
  async ledgerTrouble(): Promise<string> {
    if (this.storing.trouble !== '') return this.storing.trouble;
    return (await this.ledgerNode.ledger?.health())?.error ?? '';
  }

  /** A message from the broker; false: no room for another. */
  arrived(message: Message, held: Held | undefined): boolean {
    if (this.isClosing) return true;
    this.add({
      topic: message.topic,
      bytes: message.payload as Buffer,
      receivedAtUs: Date.now() * 1000,
      retain: message.retain,
      held,
    });
    return this.batcher.pending < this.highWater && this.batcher.pendingBytes < HIGH_WATER_BYTES;
  }

  /** A message from elsewhere. */
  enter(given: Pick<Item, 'topic' | 'bytes' | 'isMapped'>, entry: Entry): void {
    if (this.isClosing) entry.failed(closing());
    else if (this.batcher.pending >= this.settings.maxEntries) {
      entry.failed(
        new Trouble('front-door-full', `${this.batcher.pending} messages wait to be stored; send this one again later`),
      );
    } else this.add({ ...given, receivedAtUs: Date.now() * 1000, retain: false, entry });
  }

  /** Stores and acknowledges what is held, then leaves. Nothing is sent any more: the receivers close at the same moment. */
  async close(removed: boolean): Promise<void> {
    this.isClosing = true;
    try {
      await this.finish(removed);
    } finally {
      this.letGo();
    }
  }

  private async finish(removed: boolean): Promise<void> {
    const deadline = new Promise((late) => setTimeout(late, CLOSE_DEADLINE_MS).unref());
    await Promise.race([this.batcher.drained(), deadline]);
    for (const { entry } of this.batcher.abandon()) entry?.failed(closing());
    await this.dispatch.close();
    await Promise.all([this.session?.end(removed), this.adoption?.close(removed)]);
  }

  private add(item: Item): void {
    this.counts.received++;
    this.batcher.add(item);
    if (this.batcher.pending > this.counts.mostPending) this.counts.mostPending = this.batcher.pending;
  }

  private async settle(batch: readonly Item[], committed: Committed<Item>): Promise<void> {
    const { stored } = committed;
    try {
      this.acknowledge(stored);
      await this.dispatch.send(committed);
    } catch (cause) {
      this.output.trouble(cause as Error);
    }
    if (stored.length === batch.length) return;
    const told = new Set(stored.map(({ item }) => item));
    for (const item of batch) if (!told.has(item)) item.entry?.failed(closing());
  }

  private acknowledge(part: readonly Stored<Item>[]): void {
    const held = part.flatMap(({ item }) => item.held ?? []);
    if (held.length > 0) this.session?.acknowledge(held);
  }

  private makeRoom(): void {
    if (this.isClosing) return;
    const hasRoom = this.batcher.pending <= this.highWater / 2 && this.batcher.pendingBytes <= HIGH_WATER_BYTES / 2;
    if (!hasRoom) return;
    this.session?.resume();
    this.adoption?.resume();
  }
}

const closing = () => new Trouble('closing', 'the node is being closed; the message was not stored');
