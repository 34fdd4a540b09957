import { STANDS_OUT, type WavePhasor, type WaveWindow, wrap } from './waveform';
import { demodulate, residualRms, type Taper } from './waveform-demodulate';
import { refusal, waveFlaw } from './waveform-flaws';

/** A reference filter: P for protection, M for measurement at a reporting rate. */
export type WaveFilter = { readonly class: 'P' } | { readonly class: 'M'; readonly framesPerS: number };

/**
 * M class by nominal frequency and frames a second: filter reference frequency Ffr, Hz, and order N at 16 samples a cycle.
 * From a public re-implementation of IEC/IEEE 60255-118-1 Annex D, not checked against the standard.
 */
export const M_FILTERS: Readonly<Record<number, Readonly<Record<number, readonly [number, number]>>>> = {
  50: { 10: [1.779, 806], 25: [4.355, 338], 50: [7.75, 142], 100: [14.1, 66] },
  60: {
    10: [1.78, 968],
    12: [2.125, 816],
    15: [2.64, 662],
    20: [3.5, 502],
    30: [5.02, 306],
    60: [8.19, 164],
    120: [16.25, 70],
  },
};

const TAU = 2 * Math.PI;
const DEG = 180 / Math.PI;

/**
 * The reference signal processing of IEC/IEEE 60255-118-1 Annex D for one phase, at any sample rate: demodulation at nominal
 * frequency, P: two-cycle triangle with its magnitude correction, M: sinc under a Hamming taper; frequency and ROCOF from the
 * filtered angle one sample either side. The annex takes frequency from the positive sequence: of one phase it ripples at twice
 * nominal (38 mHz in class P at 2 Hz off), so use `wavePhasor` for frequency.
 * Refused 'bad-rate' for an M filter the table does not have. The filter lies on the middle of the window.
 */
export function classPhasor(w: WaveWindow, filter: WaveFilter): WavePhasor {
  const perCycle = w.rateHz / w.nominalHz;
  const row = filter.class === 'M' ? M_FILTERS[w.nominalHz]?.[filter.framesPerS] : undefined;
  if (filter.class === 'M' && !row)
    return refusal('bad-rate', `no class M filter for ${filter.framesPerS} frames a second at ${w.nominalHz} Hz`);
  const half = row ? Math.round((row[1] * perCycle) / 32) : Math.round(perCycle) - 1;
  const flaw = waveFlaw(w, 2 * half + 3);
  if (flaw) return flaw;
  const taper = row ? sincHamming(half, (2 * row[0]) / w.rateHz) : triangle(half);
  return phasorOf(w, taper, half, filter.class === 'P');
}

function phasorOf(w: WaveWindow, taper: Taper, half: number, isP: boolean): WavePhasor {
  const nominal = (TAU * w.nominalHz) / w.rateHz;
  const middle = Math.floor((w.samples.length - 1) / 2);
  const at = (offset: number) => demodulate(w.samples, middle - half + offset, taper, nominal);
  const [early, mid, late] = [at(-1), at(0), at(1)];
  const toHz = w.rateHz / TAU;
  const offHz = (wrap(late.angle - early.angle) / 2) * toHz;
  const peak = isP ? mid.peak / Math.sin((Math.PI * (w.nominalHz + 1.625 * offHz)) / (2 * w.nominalHz)) : mid.peak;
  const turnPerSample = nominal + offHz / toHz;
  const wave = { peak, angle: mid.angle + (nominal - turnPerSample) * middle, turnPerSample };
  const rest = residualRms(w.samples, middle - half, 2 * half + 1, wave);
  const sigma = (Math.sqrt(2 * taper.squares) * rest) / taper.sum;
  if (!(peak > STANDS_OUT * sigma))
    return refusal('no-signal', `a fundamental of ${peak} peak does not stand out of ${rest} RMS of other things`);
  const atUs = w.firstUs + (middle * 1e6) / w.rateHz;
  return Object.freeze({
    ok: true,
    rms: peak / Math.SQRT2,
    angleDeg: wrap(mid.angle + nominal * middle - TAU * ((w.nominalHz * atUs) / 1e6)) * DEG,
    frequencyHz: w.nominalHz + offHz,
    rocofHzPerS: (wrap(late.angle - mid.angle) - wrap(mid.angle - early.angle)) * toHz * w.rateHz,
    sigmaDeg: (sigma / peak) * DEG,
    atUs,
  });
}

/** w(k) = 1 - 2 |k| / (N + 2), N the order. */
const triangle = (half: number): Taper => taper(half, (k) => 1 - Math.abs(k) / (half + 1));

/** w(k) = sin(2 pi b k) / (2 pi b k) under a Hamming taper, b twice the reference frequency a sample. */
function sincHamming(half: number, b: number): Taper {
  const sinc = (k: number) => (k === 0 ? 1 : Math.sin(TAU * b * k) / (TAU * b * k));
  return taper(half, (k) => sinc(k) * (0.54 + 0.46 * Math.cos((Math.PI * k) / half)));
}

let kept: { readonly key: string; readonly made: Taper } | undefined;

/** The last one made is kept. */
function taper(half: number, weight: (k: number) => number): Taper {
  const key = `${half} ${weight(1)}`;
  if (kept?.key === key) return kept.made;
  const weights = Float64Array.from({ length: 2 * half + 1 }, (_, i) => weight(i - half));
  const sum = weights.reduce((all, x) => all + x, 0);
  kept = { key, made: { weights, sum, squares: weights.reduce((all, x) => all + x * x, 0) } };
  return kept.made;
}
