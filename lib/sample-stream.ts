import type { WaveWindow } from './waveform';

export interface StreamRule {
  readonly rateHz: number;
  readonly nominalHz: number;
  /** seconds from one window to the next; their middles fall on multiples of it in UTC, within half a sample and what the clock wanders */
  readonly everyS: number;
  /** cycles a window; five when left out, more for a class M filter */
  readonly cycles?: number;
}

export interface Pushed {
  /** `firstUs` of each counts from `secondUs`, a whole second of UTC */
  readonly windows: readonly { readonly secondUs: number; readonly window: WaveWindow }[];
  /** the time of this piece does not follow from the samples before it: those were let go */
  readonly jumped: boolean;
}

/** Pieces up to so much older than the last one are taken for delivered again; older ones for those of a source that began anew. */
const KNOWN_US = 10e6;

/** Cuts windows from samples that come in pieces; holds no more than it needs, reads no piece twice. */
export class SampleStream {
  private held: number[] = [];
  private firstUs = Number.NaN;
  /** middle of the window that comes next; kept, because times that wander by a sample must not pass one over */
  private nextMiddleUs: number | undefined;

  constructor(private readonly rule: StreamRule) {}

  /**
   * Samples that came before, as when a piece is delivered twice, are passed over.
   * @param firstUs time of the first sample of the piece, microseconds since the epoch, UTC
   */
  push(samples: ArrayLike<number>, firstUs: number): Pushed {
    const stepUs = 1e6 / this.rule.rateHz;
    const late = (firstUs - this.firstUs) / stepUs - this.held.length;
    const isKnown = late < -1 && late * stepUs >= -KNOWN_US;
    const skip = isKnown ? Math.min(samples.length, Math.round(-late)) : 0;
    const jumped = Number.isFinite(this.firstUs) && !isKnown && !(Math.abs(late) <= 1);
    if (jumped) this.held = [];
    if (jumped) this.nextMiddleUs = undefined;
    if (!Number.isFinite(firstUs)) return this.lost(jumped);
    if (skip === samples.length) return { windows: [], jumped };
    // The latest time counts: a clock may wander from piece to piece.
    this.firstUs = firstUs + (skip - this.held.length) * stepUs;
    for (let k = skip; k < samples.length; k++) this.held.push(samples[k] as number);
    return { windows: this.cut(stepUs), jumped };
  }

  /** Begins anew with the next piece. */
  reset(): void {
    this.lost(true);
  }

  /** Samples that wait for the rest of their window. */
  get waiting(): number {
    return this.held.length;
  }

  /** Without a time samples are worth nothing. */
  private lost(jumped: boolean): Pushed {
    this.held = [];
    this.firstUs = Number.NaN;
    this.nextMiddleUs = undefined;
    return { windows: [], jumped };
  }

  private cut(stepUs: number): Pushed['windows'] {
    const { rateHz, nominalHz, everyS, cycles = 5 } = this.rule;
    const size = cycles * Math.round(rateHz / nominalHz) + 1;
    const everyUs = Math.max(everyS * 1e6, stepUs);
    const toMiddleUs = ((size - 1) / 2) * stepUs;
    const windows: Pushed['windows'][number][] = [];
    let middleUs = this.nextMiddleUs ?? Math.ceil((this.firstUs + toMiddleUs - stepUs / 2) / everyUs) * everyUs;
    let from = this.indexOf(middleUs - toMiddleUs, stepUs);
    for (; from + size <= this.held.length; from = this.indexOf(middleUs - toMiddleUs, stepUs)) {
      const startUs = this.firstUs + from * stepUs;
      const secondUs = Math.floor(startUs / 1e6) * 1e6;
      const samples = Float64Array.from(this.held.slice(from, from + size));
      windows.push({ secondUs, window: { samples, rateHz, nominalHz, firstUs: startUs - secondUs } });
      middleUs += everyUs;
    }
    this.nextMiddleUs = middleUs;
    this.drop(Math.min(from, this.held.length), stepUs);
    return windows;
  }

  private indexOf(us: number, stepUs: number): number {
    return Math.max(0, Math.round((us - this.firstUs) / stepUs));
  }

  private drop(count: number, stepUs: number): void {
    this.held = this.held.slice(count);
    this.firstUs += count * stepUs;
  }
}
