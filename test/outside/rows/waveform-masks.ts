import { classTaper, type WaveFilter } from '../../../lib/waveform-classes';
import { response } from '../../../lib/waveform-image';
import type { CheckRow } from '../rows';
import { type Nominal, REPORTING_RATES } from '../synchrophasor-limits';

export const title =
  'Frequency response of the reference filters, computed from their weights, against what the limits demand of any filter';

const SAMPLES_A_CYCLE = 16;
const LIMITS = 'IEC/IEEE 60255-118-1:2018, limits of the steady and out-of-band tests, from memory, turned into gains';

/** Gain at so many hertz off nominal. */
function gainOf(f0: number, filter: WaveFilter): (offHz: number) => number {
  const rateHz = f0 * SAMPLES_A_CYCLE;
  const taper = classTaper(f0, rateHz, filter)!;
  return (offHz) => response(taper, (2 * Math.PI * offHz) / rateHz);
}

const most = (gain: (hz: number) => number, from: number, to: number): number =>
  Math.max(...Array.from({ length: 2001 }, (_, k) => Math.abs(gain(from + ((to - from) * k) / 2000))));

function rowsOf(f0: Nominal, fps: number): CheckRow[] {
  const gain = gainOf(f0, { class: 'M', framesPerS: fps });
  const band = Math.min(fps / 5, 5);
  const at = `${f0} Hz M ${fps}/s`;
  const row = (
    what: string,
    source: string,
    confidence: 'medium' | 'low',
    value: number,
    tolerance: number,
  ): CheckRow => {
    return { what: `${at}: ${what}`, source, confidence, expected: 0, got: () => value, tolerance };
  };
  const droop = most((hz) => 1 - gain(hz), 0, band);
  return [
    row(`passband to ${band} Hz, ripple %`, `${LIMITS}: 1 % TVE`, 'medium', 100 * droop, 1),
    row(
      `stopband from ${fps / 2} Hz, gain of tones to twice nominal`,
      `${LIMITS}: 1.3 % TVE of 10 %`,
      'medium',
      most(gain, fps / 2, f0),
      0.13,
    ),
    row(
      `stopband from ${fps / 2} Hz to half the sample rate, gain`,
      'IEC/IEEE 60255-118-1:2018 Annex D, filter mask -20 dB, from memory',
      'low',
      most(gain, fps / 2, 8 * f0),
      0.1,
    ),
    row(
      'gain for the mirror image within the band',
      'the image is a tone of 100 % at twice nominal: 1 % TVE',
      'medium',
      most(gain, 2 * f0 - band, 2 * f0 + band),
      0.01,
    ),
  ];
}

function rowsOfP(f0: Nominal): CheckRow[] {
  const gain = gainOf(f0, { class: 'P' });
  const corrected = (hz: number) => gain(hz) / Math.sin((Math.PI * (f0 + 1.625 * hz)) / (2 * f0));
  const base = { source: `${LIMITS}: 1 % TVE`, confidence: 'medium' as const, expected: 0 };
  const zero = (n: number): CheckRow => {
    const source = 'a two-cycle triangle is two one-cycle means, each zero at every multiple of nominal (mathematics)';
    return {
      what: `${f0} Hz P: gain at ${n} times nominal off`,
      source,
      confidence: 'high',
      expected: 0,
      got: () => gain(n * f0),
      tolerance: 1e-12,
    };
  };
  return [
    {
      ...base,
      what: `${f0} Hz P: passband to 2 Hz with its correction, ripple %`,
      got: () => 100 * most((hz) => 1 - corrected(hz), -2, 2),
      tolerance: 1,
    },
    ...[1, 2, 3, 7].map(zero),
  ];
}

export const rows: readonly CheckRow[] = ([50, 60] as readonly Nominal[]).flatMap((f0) => [
  ...rowsOfP(f0),
  ...REPORTING_RATES[f0].flatMap((fps) => rowsOf(f0, fps)),
]);
