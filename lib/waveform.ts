import { demodulate, hann, residualRms } from './waveform-demodulate';
import { refusal, WAVE_CYCLES, waveFlaw } from './waveform-flaws';
import { hannResponse, withoutImage } from './waveform-image';

/** Samples of one channel; `firstUs` is the time of the first sample after a UTC second. */
export interface WaveWindow {
  readonly samples: ArrayLike<number>;
  readonly rateHz: number;
  readonly firstUs: number;
  readonly nominalHz: number;
  /** time of the last sample on the same clock, where it is known: a gap shows as time without samples */
  readonly lastUs?: number;
  /** largest magnitude the converter can say; samples that reach it are clipped */
  readonly fullScale?: number;
  /** the samples come from behind an anti-alias filter, so that fewer than 64 a cycle will do (8 at least) */
  readonly antiAliased?: boolean;
}

/** Why a window was not read. */
export interface WaveRefusal {
  readonly ok: false;
  readonly code:
    | 'bad-rate'
    | 'too-few-samples'
    | 'too-short'
    | 'no-pulse'
    | 'pulse-jump'
    | 'gapped'
    | 'clipped'
    | 'no-signal'
    | 'off-frequency';
  readonly why: string;
}

/** What a window says about its fundamental at its middle. */
export interface WaveReading {
  readonly ok: true;
  /** in the unit of the samples */
  readonly rms: number;
  /** against a cosine of nominal frequency that peaks at the UTC second, (-180, 180] */
  readonly angleDeg: number;
  readonly frequencyHz: number;
  readonly rocofHzPerS: number;
  /** of the angle, if what the fundamental leaves unexplained were white noise; harmonics count, so it is on the high side */
  readonly sigmaDeg: number;
  /** the middle of the window, on the clock of `firstUs` */
  readonly atUs: number;
}

/** A reading or a refusal. */
export type WavePhasor = WaveReading | WaveRefusal;

const HANN_CYCLES = 4;
const TAU = 2 * Math.PI;
const DEG = 180 / Math.PI;
/** The fundamental must stand this many of its own sigmas out of the residual (angle sigma 7 degrees). */
export const STANDS_OUT = 8;
/** Share of nominal; the phase advance over a cycle means nothing much further away. */
const PULL_IN = 0.2;

/**
 * Two-pass Hann over four nominal cycles, on the middle five cycles of the window: frequency from the phase advance
 * between tapers half a cycle either side, demodulation at that frequency, the mirror image taken off, angle back on the nominal
 * cosine.
 * Against IEC/IEEE 60255-118-1 limits see the rows in test/outside/rows/waveform.ts.
 */
export function wavePhasor(w: WaveWindow): WavePhasor {
  const flaw = waveFlaw(w);
  if (flaw) return flaw;
  const perCycle = w.rateHz / w.nominalHz;
  const half = Math.floor(Math.round(perCycle) / 2);
  const taper = hann(Math.round(HANN_CYCLES * perCycle));
  const first = Math.floor((w.samples.length - Math.round(WAVE_CYCLES * perCycle)) / 2);
  const at = (offset: number, turn: number) => demodulate(w.samples, first + offset, taper, turn);

  const nominal = TAU / perCycle;
  const turn = nominal + wrap(at(2 * half, nominal).angle - at(0, nominal).angle) / (2 * half);
  if (Math.abs(turn / nominal - 1) > PULL_IN)
    return refusal('off-frequency', `${hertz(turn, w)} Hz is no ${w.nominalHz} Hz signal`);
  const size = taper.weights.length;
  const image = hannResponse(size, 2 * turn);
  const clean = (offset: number) => withoutImage(at(offset, turn), turn, first + offset + (size - 1) / 2, image);
  const early = clean(0).angle;
  const mid = clean(half);
  const late = clean(2 * half).angle;

  const rest = residualRms(w.samples, first + half, size, { ...mid, turnPerSample: turn });
  const sigma = (Math.sqrt(2 * taper.squares) * rest) / taper.sum;
  if (!(mid.peak > STANDS_OUT * sigma))
    return refusal('no-signal', `a fundamental of ${mid.peak} peak does not stand out of ${rest} RMS of other things`);

  const middle = first + half + (size - 1) / 2;
  const atUs = w.firstUs + (middle * 1e6) / w.rateHz;
  const bend = wrap(late - mid.angle) - wrap(mid.angle - early);
  return Object.freeze({
    ok: true,
    rms: mid.peak / Math.SQRT2,
    angleDeg: wrap(mid.angle + turn * middle - TAU * ((w.nominalHz * atUs) / 1e6)) * DEG,
    frequencyHz: hertz(turn + wrap(late - early) / (2 * half), w),
    rocofHzPerS: ((bend / half / half) * w.rateHz * w.rateHz) / TAU,
    sigmaDeg: (sigma / mid.peak) * DEG,
    atUs,
  });
}

function hertz(turn: number, w: WaveWindow): number {
  return (turn * w.rateHz) / TAU;
}

/** Into (-pi, pi]. */
export function wrap(rad: number): number {
  return Math.atan2(Math.sin(rad), Math.cos(rad));
}
