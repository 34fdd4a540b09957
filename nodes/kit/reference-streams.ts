/** The streams of the reference stations of a frame: kept in memory, waited for, and fetched from the ledger where memory does not reach. */
import { type Aligned, alignOptions, alignToReference, type NotAligned } from '../../lib/align';
import type { Frame, Reference } from '../../lib/frame';
import { takenAtUs } from '../../lib/reading';
import type { Reading } from '../../lib/records';
import { ReferenceStream } from '../../lib/reference-stream';
import { Alignments } from './alignments';
import { type LedgerHandle, patiently } from './kept-readings';

/** Readings of a reference fetched around one instant. */
const FETCHED = 2000;

interface Waiter {
  readonly us: number;
  readonly go: () => void;
}

export class ReferenceStreams {
  private readonly streams = new Map<string, ReferenceStream>();
  private readonly waiting = new Set<Waiter>();
  private readonly alignments = new Alignments();
  private readonly asked = new WeakSet<Reading>();
  private readonly references: readonly Reference[];
  private readonly options;
  /** told of a reading that a late reference reading serves better */
  onServed: (reading: Reading) => void = () => undefined;

  constructor(
    private readonly frame: Frame,
    private readonly ledger: LedgerHandle | undefined,
    private readonly waitMs: number,
  ) {
    this.references = frame.references.filter((r) => r.terminal !== undefined);
    for (const r of this.references) this.streams.set(r.terminal!, new ReferenceStream());
    this.options = alignOptions(frame);
  }

  get terminals(): readonly string[] {
    return [...this.streams.keys()];
  }

  isStream(terminal: string): boolean {
    return this.streams.has(terminal);
  }

  /** Takes in a reading of a reference's own terminal. */
  hear(reading: Reading): void {
    this.learn(reading.terminal, [reading]);
  }

  /** Waits, when there is reason to, until a reading can be held against a reference as well as it will be. */
  settle(reading: Reading): Promise<void> | undefined {
    if (!this.concerns(reading)) return undefined;
    const us = takenAtUs(reading);
    return this.isBracketed(us) ? undefined : this.settled(reading, us);
  }

  /** Fetches what is needed to align readings that came before this run; undefined when there is nothing to fetch. */
  recall(sets: readonly { readonly readings: readonly Reading[] }[]): Promise<unknown> | undefined {
    if (!this.ledger || this.references.length === 0) return undefined;
    const lacking = sets
      .flatMap((s) => s.readings)
      .filter((r) => this.concerns(r) && !this.asked.has(r) && !this.isNear(takenAtUs(r)));
    return lacking.length === 0 ? undefined : Promise.all(lacking.map((r) => this.fetch(r, takenAtUs(r))));
  }

  /** Holds a reading against a reference of the frame. */
  readonly align = (reading: Reading, reference: Reference): Aligned | NotAligned => {
    const known = this.alignments.interpolated(reading, reference.id);
    return known ?? this.alignments.note(reading, reference.id, this.alignNow(reading, reference));
  };

  close(): void {
    for (const waiter of this.waiting) waiter.go();
  }

  private concerns(reading: Reading): boolean {
    return this.references.length > 0 && reading.against === 'utc' && reading.angleDeg !== undefined;
  }

  private isBracketed(us: number): boolean {
    for (const stream of this.streams.values()) if (stream.brackets(us, this.frame.referenceMaxGapS)) return true;
    return false;
  }

  /** Whether memory holds a reference reading from shortly before: what is missing can only be still to come. */
  private isNear(us: number): boolean {
    const reachUs = this.frame.referenceMaxGapS * 1e6;
    for (const stream of this.streams.values()) {
      if (stream.around(us).some((r) => takenAtUs(r) <= us && us - takenAtUs(r) <= reachUs)) return true;
    }
    return false;
  }

  private async settled(reading: Reading, us: number): Promise<void> {
    if (this.ledger && !this.isNear(us)) await this.fetch(reading, us);
    if (this.references.some((r) => this.alignments.interpolated(reading, r.id))) return;
    const mayCome = [...this.streams.values()].some((s) => !s.reaches(us));
    if (!this.isBracketed(us) && mayCome) await this.wait(us);
  }

  private wait(us: number): Promise<void> {
    return new Promise((resolve) => {
      const go = () => {
        clearTimeout(timer);
        this.waiting.delete(waiter);
        resolve();
      };
      const waiter: Waiter = { us, go };
      const timer = setTimeout(go, this.waitMs);
      this.waiting.add(waiter);
    });
  }

  private async fetch(reading: Reading, us: number): Promise<void> {
    this.asked.add(reading);
    const reachUs = Math.max(this.frame.referenceMaxAgeS, this.frame.referenceMaxGapS) * 1e6;
    await Promise.all(
      this.references.map(async (reference) => {
        const kept = await patiently(this.ledger!, (l) =>
          l.readingsBetween(reference.terminal!, us - reachUs, us + reachUs, FETCHED),
        );
        const slice = new ReferenceStream();
        for (const { reading: r } of kept) slice.add(r);
        this.alignments.note(reading, reference.id, this.hold(reading, slice, reference));
        this.learn(
          reference.terminal!,
          kept.map((k) => k.reading),
        );
      }),
    );
  }

  private alignNow(reading: Reading, reference: Reference): Aligned | NotAligned {
    return this.hold(reading, this.streams.get(reference.terminal!)!, reference);
  }

  private hold(reading: Reading, stream: ReferenceStream, reference: Reference): Aligned | NotAligned {
    return alignToReference(reading, stream.around(takenAtUs(reading)), { ...this.options, reference: reference.id });
  }

  /** Takes in readings of a reference, oldest first; those who wait go on, and what was judged without them is judged anew. */
  private learn(terminal: string, readings: readonly Reading[]): void {
    const stream = this.streams.get(terminal)!;
    const learnt = readings.filter((r) => stream.add(r));
    if (learnt.length === 0) return;
    for (const waiter of this.waiting) if (this.isBracketed(waiter.us)) waiter.go();
    const [fromUs] = stream.neighbours(takenAtUs(learnt[0]!));
    const [, toUs] = stream.neighbours(takenAtUs(learnt.at(-1)!));
    const bettered = new Map<string, Reading>();
    for (const reference of this.references.filter((r) => r.terminal === terminal)) {
      const anew = (reading: Reading) => this.alignNow(reading, reference);
      for (const r of this.alignments.bettered(reference.id, fromUs, toUs, anew)) bettered.set(r.id, r);
    }
    for (const reading of bettered.values()) this.onServed(reading);
  }
}
