import type { WavePhasor, WaveReading, WaveWindow } from '../../lib/waveform';

/** A test signal: peak over the nominal peak, and phase beyond 2 pi f0 t, rad, with its derivatives in Hz; tones beside it. */
export interface Signal {
  readonly nominalHz: number;
  readonly size?: (s: number) => number;
  readonly phase: (s: number) => number;
  readonly deviationHz: (s: number) => number;
  readonly rocof?: (s: number) => number;
  readonly beside?: (s: number) => number;
}

export const PEAK = 325;
const TAU = 2 * Math.PI;

/** Off nominal by a constant. */
export function steady(nominalHz: number, offHz: number, phase0: number, beside?: (s: number) => number): Signal {
  return { nominalHz, phase: (s) => TAU * offHz * s + phase0, deviationHz: () => offHz, ...(beside && { beside }) };
}

/** Five cycles, or as many as said, and a sample, of the signal from `startS` after the UTC second. */
export function sampled(signal: Signal, startS: number, perCycle = 64, cycles = 5): WaveWindow {
  const rateHz = signal.nominalHz * perCycle;
  const samples = Array.from({ length: cycles * perCycle + 1 }, (_, k) => {
    const s = startS + k / rateHz;
    const main = (signal.size?.(s) ?? 1) * Math.cos(TAU * signal.nominalHz * s + signal.phase(s));
    return PEAK * (main + (signal.beside?.(s) ?? 0));
  });
  return { samples, rateHz, firstUs: startS * 1e6, nominalHz: signal.nominalHz };
}

export interface Errors {
  readonly tvePct: number;
  readonly angleDeg: number;
  readonly feHz: number;
  readonly rfeHzPerS: number;
}

/** Total vector error, angle, frequency and ROCOF errors of an estimate against the signal at the estimate's own instant. */
export function errorsOf(signal: Signal, got: WavePhasor): Errors {
  if (!got.ok) throw new Error(`${got.code}: ${got.why}`);
  return readingErrors(signal, got);
}

function readingErrors(signal: Signal, got: WaveReading): Errors {
  const s = got.atUs / 1e6;
  const turn = (got.angleDeg * Math.PI) / 180 - signal.phase(s);
  const ratio = (got.rms * Math.SQRT2) / PEAK / (signal.size?.(s) ?? 1);
  return {
    tvePct: 100 * Math.hypot(ratio * Math.cos(turn) - 1, ratio * Math.sin(turn)),
    angleDeg: Math.abs((Math.atan2(Math.sin(turn), Math.cos(turn)) * 180) / Math.PI),
    feHz: Math.abs(got.frequencyHz - signal.nominalHz - signal.deviationHz(s)),
    rfeHzPerS: Math.abs(got.rocofHzPerS - (signal.rocof?.(s) ?? 0)),
  };
}

/** The worst of each error. */
export function worst(all: readonly Errors[]): Errors {
  const most = (pick: (e: Errors) => number) => Math.max(...all.map(pick));
  return {
    tvePct: most((e) => e.tvePct),
    angleDeg: most((e) => e.angleDeg),
    feHz: most((e) => e.feHz),
    rfeHzPerS: most((e) => e.rfeHzPerS),
  };
}
