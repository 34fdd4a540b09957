/** The estimators of phasors by name, and one reader for windows and streams. */
import { type WaveRead, WaveReader } from './wave-reading';
import { WaveStreams } from './wave-streams';
import { type WavePhasor, type WaveWindow, wavePhasor } from './waveform';
import { classPhasor, classTaper, type WaveFilter } from './waveform-classes';
import { WAVE_CYCLES } from './waveform-flaws';

export interface WaveEstimator {
  readonly estimate: (w: WaveWindow) => WavePhasor;
  /** cycles that a window needs at least */
  readonly cycles: number;
}

/**
 * Undefined where class M has no filter for the rate.
 * @param filter two-pass Hann over four cycles when left out
 * @example waveEstimator(60, { class: 'P' }).cycles // 3
 */
export function waveEstimator(nominalHz: number, filter?: WaveFilter): WaveEstimator | undefined {
  if (!filter) return { estimate: wavePhasor, cycles: WAVE_CYCLES };
  const taper = classTaper(nominalHz, FINE * nominalHz, filter);
  // An eighth of a cycle beside it, for the frequency.
  return taper && { estimate: (w) => classPhasor(w, filter), cycles: Math.ceil(taper.weights.length / FINE + 0.25) };
}

const FINE = 64;

/** Windows as `WaveReader` takes them, and pieces of streams (with `everyS`) as `WaveStreams` does. */
export class WaveDoor {
  private readonly reader: WaveReader;
  private readonly streams: WaveStreams;

  constructor(nominalHz: number, { estimate, cycles }: WaveEstimator) {
    this.reader = new WaveReader(nominalHz, estimate);
    this.streams = new WaveStreams(this.reader, cycles);
  }

  /** One reading or refusal of a window; of a piece of a stream as many as it completes. @param bytes stand in for the samples */
  read(given: unknown, bytes?: Uint8Array): readonly WaveRead[] {
    const isPiece = typeof given === 'object' && given !== null && 'everyS' in given;
    return isPiece ? this.streams.push(given, bytes) : [this.reader.read(given, bytes)];
  }

  /** Samples held of streams. */
  get waiting(): number {
    return this.streams.waiting;
  }
}
