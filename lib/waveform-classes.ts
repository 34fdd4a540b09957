import { STANDS_OUT, type WavePhasor, type WaveWindow, wrap } from './waveform';
import { demodulate, residualRms, type Taper } from './waveform-demodulate';
import { refusal, waveFlaw } from './waveform-flaws';
import { response, type Seen, withoutImage } from './waveform-image';

/** A reference filter: P for protection, M for measurement at a reporting rate. */
export type WaveFilter = { readonly class: 'P' } | { readonly class: 'M'; readonly framesPerS: number };

/**
 * M class by nominal frequency and frames a second: filter reference frequency Ffr, Hz, and order N at 16 samples a cycle.
 * From a public re-implementation of IEC/IEEE 60255-118-1 Annex D, not checked against the standard's own table. Every row keeps what
 * the limits demand of a filter, with one and the same ripple (0.5 %) wherever the band is as wide as the rate allows:
 * test/outside/rows/waveform-masks.ts.
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
 * The reference filters of IEC/IEEE 60255-118-1 Annex D on one phase, at any sample rate: demodulation at nominal frequency, P: two-cycle
 * triangle with its magnitude correction, M: sinc under a Hamming taper; frequency and ROCOF from the filtered angle a sixteenth of
 * a cycle either side. The annex takes frequency from the positive sequence, where the mirror image of a real signal cancels; here, with one phase,
 * it is computed and taken off (`withoutImage`). Limits met and missed: test/outside/rows/waveform-classes.ts.
 * Refused 'bad-rate' for an M filter the table does not have. The filter lies on the middle of the window.
 */
export function classPhasor(w: WaveWindow, filter: WaveFilter): WavePhasor {
  const taper = classTaper(w.nominalHz, w.rateHz, filter);
  if (!taper) {
    const rate = filter.class === 'M' ? `${filter.framesPerS} frames a second` : 'a window';
    return refusal('bad-rate', `no class ${filter.class} filter for ${rate} at ${w.nominalHz} Hz`);
  }
  const flaw = waveFlaw(w, taper.weights.length + 2 * stepOf(w.rateHz / w.nominalHz));
  return flaw ?? phasorOf(w, taper, filter.class === 'P');
}

/**
 * The filter of a class: weights at the sample rate, odd in number. Undefined where there is none. The last one made is kept.
 * @example classTaper(60, 3840, { class: 'P' }).weights.length // 127
 */
export function classTaper(nominalHz: number, rateHz: number, filter: WaveFilter): Taper | undefined {
  const perCycle = rateHz / nominalHz;
  if (!(nominalHz > 0 && perCycle >= 2 && perCycle < 1e6)) return NO_TAPER;
  if (filter.class === 'P') return taperOf(`P ${perCycle}`, Math.round(perCycle) - 1, triangle);
  const row = M_FILTERS[nominalHz]?.[filter.framesPerS];
  if (!row) return undefined;
  const [reference, order] = row;
  const sinc = (k: number, half: number) => sincHamming(k, half, (2 * reference) / rateHz);
  return taperOf(`M ${nominalHz} ${rateHz} ${filter.framesPerS}`, Math.round((order * perCycle) / 32), sinc);
}

/** Stands in where the rate is wrong: the window is refused for that, not for its filter. */
const NO_TAPER: Taper = { weights: new Float64Array(1), sum: 1, squares: 1 };

function phasorOf(w: WaveWindow, taper: Taper, isP: boolean): WavePhasor {
  const nominal = (TAU * w.nominalHz) / w.rateHz;
  const toHz = w.rateHz / TAU;
  const size = taper.weights.length;
  const middle = Math.floor((w.samples.length - 1) / 2);
  const from = middle - (size - 1) / 2;
  const step = stepOf(w.rateHz / w.nominalHz);
  const raw = [-step, 0, step].map((offset) => demodulate(w.samples, from + offset, taper, nominal)) as Three;
  const [early, mid, late] = clean(raw, taper, nominal, middle, step);
  const offTurn = turnOf([early, mid, late], step);
  const offHz = offTurn * toHz;
  const peak = isP ? mid.peak / Math.sin((Math.PI * (w.nominalHz + 1.625 * offHz)) / (2 * w.nominalHz)) : mid.peak;
  const wave = { peak, angle: mid.angle - offTurn * middle, turnPerSample: nominal + offTurn };
  const rest = residualRms(w.samples, from, size, wave);
  const sigma = (Math.sqrt(2 * taper.squares) * rest) / taper.sum;
  if (!(peak > STANDS_OUT * sigma))
    return refusal('no-signal', `a fundamental of ${peak} peak does not stand out of ${rest} RMS of other things`);
  const atUs = w.firstUs + (middle * 1e6) / w.rateHz;
  return Object.freeze({
    ok: true,
    rms: peak / Math.SQRT2,
    angleDeg: wrap(mid.angle + nominal * middle - TAU * ((w.nominalHz * atUs) / 1e6)) * DEG,
    frequencyHz: w.nominalHz + offHz,
    rocofHzPerS: ((wrap(late.angle - mid.angle) - wrap(mid.angle - early.angle)) / step / step) * toHz * w.rateHz,
    sigmaDeg: (sigma / peak) * DEG,
    atUs,
  });
}

type Three = [Seen, Seen, Seen];

/** The annex works at 16 samples a cycle and differences one of them either side. */
const stepOf = (perCycle: number): number => Math.max(1, Math.round(perCycle / 16));

/** Turn beyond nominal, rad a sample. */
const turnOf = ([early, , late]: Three, step: number): number => wrap(late.angle - early.angle) / (2 * step);

/** The image depends on the frequency, and the frequency on the image: three rounds are enough. */
function clean(raw: Three, taper: Taper, nominal: number, middle: number, step: number): Three {
  let now = raw;
  for (let round = 0; round < 3; round++) {
    const off = turnOf(now, step);
    const share = response(taper, 2 * nominal + off) / response(taper, off);
    now = raw.map((seen, k) => withoutImage(seen, nominal, middle + (k - 1) * step, share)) as Three;
  }
  return now;
}

/** w(k) = 1 - 2 |k| / (N + 2), N the order. */
const triangle = (k: number, half: number): number => 1 - Math.abs(k) / (half + 1);

/** w(k) = sin(2 pi b k) / (2 pi b k) under a Hamming taper, b twice the reference frequency a sample. */
const sincHamming = (k: number, half: number, b: number): number =>
  (k === 0 ? 1 : Math.sin(TAU * b * k) / (TAU * b * k)) * (0.54 + 0.46 * Math.cos((Math.PI * k) / half));

let kept: { readonly key: string; readonly made: Taper } | undefined;

function taperOf(key: string, half: number, weight: (k: number, half: number) => number): Taper {
  if (kept?.key === key) return kept.made;
  const weights = Float64Array.from({ length: 2 * half + 1 }, (_, i) => weight(i - half, half));
  const sum = weights.reduce((all, x) => all + x, 0);
  kept = { key, made: { weights, sum, squares: weights.reduce((all, x) => all + x * x, 0) } };
  return kept.made;
}
