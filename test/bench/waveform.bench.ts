/** Windows of samples to phasors, 64 samples a cycle; a bare DFT loop over the same windows beside it. */
import { wavePhasor } from '../../lib/waveform';
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
const value = rate(() => {
  for (const w of windows) {
    const got = wavePhasor(w);
    if (got.ok) sink += got.angleDeg;
  }
});
if (!Number.isFinite(sink) || PEAK <= 0) throw new Error('nothing was computed');
report('waveform', [
  {
    what: '321 samples to angle, RMS, frequency, ROCOF, sigma, every check',
    value,
    unit: 'windows/s',
    peer,
    aim: '>= 20,000',
  },
]);
