/** Windows of samples to phasors, 64 samples a cycle; a bare DFT loop over the same windows beside it. */
import { formatInstant, WaveReader, WaveStreams } from '../../lib';
import { type WavePhasor, type WaveWindow, wavePhasor } from '../../lib/waveform';
import { classPhasor } from '../../lib/waveform-classes';
import { PEAK, sampled, steady } from '../kit/waves';
import { report } from './report';

const WINDOWS = 2000;
const ROUNDS = 25;

/** Windows a second in the best of many short rounds, so that other work on the machine weighs little. */
function rate(work: () => unknown): number {
  let bestMs = Number.POSITIVE_INFINITY;
  for (let round = 0; round < ROUNDS; round++) {
    const start = performance.now();
    work();
    bestMs = Math.min(bestMs, performance.now() - start);
  }
  return (WINDOWS / bestMs) * 1000;
}

const windows = Array.from({ length: WINDOWS }, (_, k) => {
  const w = sampled(steady(60, ((k % 41) - 20) / 10, k), 0.1);
  return { ...w, samples: Float64Array.from(w.samples) };
});
const cosines = Float64Array.from({ length: 256 }, (_, k) => Math.cos((2 * Math.PI * k) / 64));
const sines = Float64Array.from({ length: 256 }, (_, k) => Math.sin((2 * Math.PI * k) / 64));
let sink = 0;

/** One pass, no taper, no frequency, no check, the turns from a table: the least one could do. */
function bare(samples: Float64Array): void {
  let re = 0;
  let im = 0;
  for (let k = 0; k < 256; k++) {
    re += samples[k]! * cosines[k]!;
    im -= samples[k]! * sines[k]!;
  }
  sink += Math.hypot(re, im) / 128 + Math.atan2(im, re);
}

const peer = {
  what: 'bare four-cycle DFT loop, windows/s',
  value: rate(() => windows.forEach(({ samples }) => void bare(samples))),
};
const estimated = (estimate: (w: WaveWindow) => WavePhasor) =>
  rate(() => {
    for (const w of windows) {
      const got = estimate(w);
      if (got.ok) sink += got.angleDeg;
    }
  });

/** The same samples as a stream of one channel, in pieces of a window, a reading from each. */
function streamed(): void {
  const streams = new WaveStreams(new WaveReader(60), 5);
  const piece = { terminal: 's/1', rateHz: 3840, everyS: 321 / 3840 };
  for (const [k, { samples }] of windows.entries()) {
    const firstAt = formatInstant(1_772_000_000e6 + Math.round((k * 321e6) / 3840));
    for (const read of streams.push({ ...piece, firstAt, samples: Array.from(samples) })) sink += read.ok ? 1 : 0;
  }
}

const row = (what: string, value: number, aim?: string) => {
  return { what, value, unit: 'windows/s', peer, ratio: value / peer.value, ...(aim ? { aim } : {}) };
};
report('waveform', [
  row('321 samples to angle, RMS, frequency, ROCOF, sigma, every check', estimated(wavePhasor), '>= 20,000'),
  row(
    'the same by the reference filter of class P',
    estimated((w) => classPhasor(w, { class: 'P' })),
  ),
  row('checked documents in pieces of a stream, a reading each', rate(streamed)),
]);
if (!Number.isFinite(sink) || PEAK <= 0) throw new Error('nothing was computed');
