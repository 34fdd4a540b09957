import type { WaveRefusal, WaveWindow } from './waveform';

/** Cycles that an estimate needs: four under the Hann window, and one for it to move by. */
export const WAVE_CYCLES = 5;
/** Samples a cycle; at 16 the 15th and 17th harmonics would fold onto the fundamental. */
export const MIN_SAMPLES_A_CYCLE = 64;
/** Share by which a rate may fall short: one that was measured is not a round number. */
const RATE_SLACK = 1e-3;
/** With a stated anti-alias filter, what four cycles under a Hann window can still tell apart. */
const MIN_FILTERED_SAMPLES = 8;
/**
 * Equal samples at the extreme over more than this share of a cycle are a flat top. A full-range 8-bit converter makes
 * 4 % of a clean cosine equal. A cosine cut by 2 % is found at 64 samples a cycle; smaller cuts need `fullScale`.
 */
const FLAT_TOP = 0.042;

/**
 * Why a window cannot be read, or undefined. Looks at every sample given, not only at those that are used.
 * @param needs samples; five cycles when left out
 */
export function waveFlaw(w: WaveWindow, needs?: number): WaveRefusal | undefined {
  const cycle = w.rateHz / w.nominalHz;
  if (!(w.nominalHz > 0 && Number.isFinite(cycle)))
    return refusal('bad-rate', `rate ${w.rateHz} Hz and nominal ${w.nominalHz} Hz must be numbers above zero`);
  const least = w.antiAliased ? MIN_FILTERED_SAMPLES : MIN_SAMPLES_A_CYCLE;
  if (!(cycle >= least * (1 - RATE_SLACK)))
    return refusal('too-few-samples', `${cycle} samples a cycle; ${least} are needed${w.antiAliased ? '' : FILTER}`);
  const needed = needs ?? WAVE_CYCLES * Math.round(cycle);
  if (w.samples.length < needed) return refusal('too-short', `${w.samples.length} samples; ${needed} are needed`);
  if (!Number.isFinite(w.firstUs)) return refusal('no-pulse', 'the UTC time of the first sample is not known');
  return clockFlaw(w) ?? sampleFlaw(w, cycle);
}

const FILTER = ', or fewer behind a stated anti-alias filter';

function clockFlaw(w: WaveWindow): WaveRefusal | undefined {
  if (w.lastUs === undefined) return undefined;
  const stepUs = 1e6 / w.rateHz;
  const off = (w.lastUs - w.firstUs) / stepUs - (w.samples.length - 1);
  if (Math.abs(off) <= 0.5) return undefined;
  return refusal('gapped', `time from the first to the last sample is ${off} samples more than was delivered`);
}

function sampleFlaw(w: WaveWindow, cycle: number): WaveRefusal | undefined {
  let high = -Infinity;
  let low = Infinity;
  for (let k = 0; k < w.samples.length; k++) {
    const x = w.samples[k];
    if (x === undefined || !Number.isFinite(x)) return refusal('gapped', `sample ${k} is missing or not a number`);
    if (x > high) high = x;
    if (x < low) low = x;
  }
  if (high === low) return refusal('no-signal', `every sample is ${high}`);
  if (Math.max(high, -low) >= (w.fullScale ?? Infinity)) return refusal('clipped', 'samples reach full scale');
  const flat = Math.max(longestRun(w, high), longestRun(w, low));
  if (flat - 1 > FLAT_TOP * cycle) return refusal('clipped', `${flat} equal samples at the extreme value`);
  return undefined;
}

function longestRun(w: WaveWindow, value: number): number {
  let longest = 0;
  let run = 0;
  for (let k = 0; k < w.samples.length; k++) {
    run = w.samples[k] === value ? run + 1 : 0;
    if (run > longest) longest = run;
  }
  return longest;
}

/** A frozen refusal. */
export function refusal(code: WaveRefusal['code'], why: string): WaveRefusal {
  return Object.freeze({ ok: false, code, why });
}
