/**
 * Readings of several workers in the order in which they were taken. Two that were published one after the other may be stored the other
 * way round, by two workers; each is held for a moment so that those before it can catch up.
 */
import { takenAtUs } from '../../lib/reading';
import type { LaneReading } from '../kit/sharing';

interface Waiting {
  readonly it: LaneReading;
  readonly takenUs: number;
  readonly heardMs: number;
}

export class TakenOrder {
  private waiting: Waiting[] = [];

  /** @param gatherMs how long a reading waits for those taken before it */
  constructor(private readonly gatherMs: number) {}

  add(page: readonly LaneReading[]): void {
    const heardMs = performance.now();
    for (const it of page) this.waiting.push({ it, takenUs: takenAtUs(it.reading), heardMs });
  }

  /** Those that have waited long enough, and those taken before them, of the lanes that may be sent: in the order of taking. */
  due(maySend: (lane: string) => boolean): LaneReading[] {
    const latestMs = performance.now() - this.gatherMs;
    let untilUs = Number.NEGATIVE_INFINITY;
    for (const { takenUs, heardMs } of this.waiting) {
      if (heardMs <= latestMs && takenUs > untilUs) untilUs = takenUs;
    }
    const goes = (w: Waiting) => w.takenUs <= untilUs && maySend(w.it.lane);
    const due = this.waiting.filter(goes);
    if (due.length > 0) this.waiting = this.waiting.filter((w) => !goes(w));
    return due.sort((a, b) => a.takenUs - b.takenUs || a.it.seq - b.it.seq).map(({ it }) => it);
  }

  /** A lane now belongs to somebody else. */
  drop(lane: string): void {
    this.waiting = this.waiting.filter(({ it }) => it.lane !== lane);
  }

  /** When to look again; undefined when nothing waits in a lane that may be sent. */
  nextMs(maySend: (lane: string) => boolean): number | undefined {
    const first = this.waiting.find(({ it }) => maySend(it.lane));
    return first && Math.max(1, first.heardMs + this.gatherMs - performance.now());
  }
}
