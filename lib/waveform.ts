/** Samples of one channel; `firstUs` is the time of the first sample after a UTC second. */
export interface WaveWindow {
  readonly samples: readonly number[];
  readonly rateHz: number;
  readonly firstUs: number;
  readonly nominalHz: number;
  /** Largest magnitude the converter can say; samples that reach it are clipped. */
  readonly fullScale?: number;
}

/** Peak magnitude, angle against a UTC cosine of nominal frequency at the middle of the window, frequency. */
export type WavePhasor =
  | { readonly ok: true; readonly peak: number; readonly angleDeg: number; readonly frequencyHz: number }
  | { readonly ok: false; readonly code: string; readonly why: string };

const CYCLES = 4;
const TAU = 2 * Math.PI;

/** Two-pass Hann over four cycles, twice, one cycle apart (five cycles are needed, 64 samples a cycle). */
export function wavePhasor(w: WaveWindow): WavePhasor {
  const refused = flaw(w);
  if (refused) return Object.freeze({ ok: false, ...refused });
  const cycle = Math.round(w.rateHz / w.nominalHz);
  const late = w.samples.length - CYCLES * cycle;
  let hz = w.nominalHz;
  for (let pass = 0; pass < 2; pass++) {
    const turn = project(w, late, cycle, hz).angle - project(w, 0, cycle, hz).angle;
    hz += (Math.atan2(Math.sin(turn), Math.cos(turn)) / TAU / late) * w.rateHz;
  }
  const { peak, angle } = project(w, Math.round(late / 2), cycle, hz);
  const middleS = w.firstUs / 1e6 + (w.samples.length - 1) / 2 / w.rateHz;
  const rad = angle + (TAU * hz * (w.samples.length - 1)) / 2 / w.rateHz - TAU * w.nominalHz * middleS;
  const angleDeg = (Math.atan2(Math.sin(rad), Math.cos(rad)) * 180) / Math.PI;
  return Object.freeze({ ok: true, peak, angleDeg, frequencyHz: hz });
}

function flaw(w: WaveWindow): { code: string; why: string } | undefined {
  const cycle = w.rateHz / w.nominalHz;
  if (!(cycle >= 64)) return { code: 'too-few-samples', why: `${cycle} samples a cycle; 64 are needed` };
  if (w.samples.length < (CYCLES + 1) * Math.round(cycle)) return { code: 'too-short', why: 'five cycles are needed' };
  if (!Number.isFinite(w.firstUs)) return { code: 'no-pulse', why: 'the time of the first sample is not known' };
  if (!w.samples.every(Number.isFinite)) return { code: 'gapped', why: 'a sample is missing or not a number' };
  const top = w.samples.reduce((most, x) => Math.max(most, Math.abs(x)), 0);
  if (top === 0) return { code: 'no-signal', why: 'every sample is zero' };
  if (top >= (w.fullScale ?? Infinity)) return { code: 'clipped', why: 'samples reach full scale' };
  return undefined;
}

function project(w: WaveWindow, from: number, cycle: number, hz: number): { peak: number; angle: number } {
  const size = CYCLES * cycle;
  let re = 0;
  let im = 0;
  let sum = 0;
  for (let k = 0; k < size; k++) {
    const weight = 1 - Math.cos((TAU * (k + 0.5)) / size);
    const turn = (TAU * hz * (from + k)) / w.rateHz;
    const x = weight * (w.samples[from + k] ?? 0);
    re += x * Math.cos(turn);
    im -= x * Math.sin(turn);
    sum += weight;
  }
  return { peak: (2 * Math.hypot(re, im)) / sum, angle: Math.atan2(im, re) };
}
