/** The test signals of IEC/IEEE 60255-118-1 put to an estimator; each returns the worst errors. */
import type { WavePhasor, WaveWindow } from '../../lib/waveform';
import { type Errors, errorsOf, PEAK, type Signal, sampled, steady, worst } from './waves';

/** Puts a signal to an estimator from `startS` after the UTC second. */
export type Run = (signal: Signal, startS?: number) => Errors;

const TAU = 2 * Math.PI;
const around = (count: number) => Array.from({ length: count }, (_, k) => (TAU * k) / count - 3);
const steps = (from: number, to: number, by: number) =>
  Array.from({ length: Math.round((to - from) / by) + 1 }, (_, k) => from + k * by);
const starts = (spanS: number) => Array.from({ length: 24 }, (_, k) => (spanS * k) / 24);

export function frequency(run: Run, f0: number, most: number): Errors {
  return worst(steps(-most, most, most / 8).flatMap((off) => around(5).map((a) => run(steady(f0, off, a)))));
}

export function magnitude(run: Run, f0: number, sizes: readonly number[]): Errors {
  return worst(sizes.flatMap((size) => around(8).map((a) => run({ ...steady(f0, 0, a), size: () => size }))));
}

export function harmonics(run: Run, f0: number, share: number): Errors {
  const one = (h: number) => around(4).map((a) => run(steady(f0, 0, a, (s) => share * Math.cos(TAU * h * f0 * s))));
  return worst(steps(2, 50, 1).flatMap(one));
}

export function outOfBand(run: Run, f0: number, fps: number): Errors {
  const tones = steps(10, 2 * f0, 2.5).filter((tone) => Math.abs(tone - f0) >= fps / 2);
  const one = (off: number, tone: number) =>
    around(4).map((a) => run(steady(f0, off, a, (s) => 0.1 * Math.cos(TAU * tone * s))));
  return worst([-0.05 * fps, 0, 0.05 * fps].flatMap((off) => tones.flatMap((tone) => one(off, tone))));
}

export function modulation(run: Run, f0: number, most: number, kind: 'amplitude' | 'phase'): Errors {
  const signal = (fm: number): Signal => {
    const swing = (s: number) => 0.1 * Math.cos(TAU * fm * s);
    if (kind === 'amplitude') return { nominalHz: f0, size: (s) => 1 + swing(s), phase: () => 1, deviationHz: () => 0 };
    return {
      nominalHz: f0,
      phase: swing,
      deviationHz: (s) => -0.1 * fm * Math.sin(TAU * fm * s),
      rocof: (s) => -0.1 * TAU * fm * fm * Math.cos(TAU * fm * s),
    };
  };
  return worst(steps(0.1, most, (most - 0.1) / 6).flatMap((fm) => starts(1 / fm).map((s0) => run(signal(fm), s0))));
}

/** Of 1 Hz/s either way; the estimates this near to its ends do not count. */
export function ramp(run: Run, f0: number, most: number, excludeS = 0.05): Errors {
  const signal = (up: number): Signal => ({
    nominalHz: f0,
    phase: (s) => Math.PI * up * (s - most) ** 2,
    deviationHz: (s) => up * (s - most),
    rocof: () => up,
  });
  return worst(
    [1, -1].flatMap((up) => starts(2 * most - 2 * excludeS - 0.1).map((s0) => run(signal(up), s0 + excludeS))),
  );
}

/** An estimate: when, its magnitude over nominal, its angle, rad, and its errors. */
export interface Met {
  readonly atS: number;
  readonly size: number;
  readonly phase: number;
  readonly errors: Errors;
}

/** The estimate of a signal whose window has this middle. */
export type At = (signal: Signal, middleS: number) => Met;

/** @param cycles a window */
export function estimateAt(f0: number, cycles: number, estimate: (w: WaveWindow) => WavePhasor): At {
  return (signal, middleS) => {
    const got = estimate(sampled(signal, middleS - cycles / 2 / f0, 64, cycles));
    if (!got.ok) throw new Error(`${got.code}: ${got.why}`);
    const size = (got.rms * Math.SQRT2) / PEAK;
    return { atS: got.atUs / 1e6, size, phase: (got.angleDeg * Math.PI) / 180, errors: errorsOf(signal, got) };
  };
}

/** From first leaving a limit to last coming back, seconds, by kind of error; and how the step itself is followed. */
export interface StepReached {
  readonly responseS: Pick<Errors, 'tvePct' | 'feHz' | 'rfeHzPerS'>;
  /** half of the step is reached this long after it, seconds */
  readonly delayS: number;
  /** largest excursion beyond the step, percent of it */
  readonly overshootPct: number;
}

const POINTS = 400;

/**
 * A step of 10 % in magnitude or 10 degrees in angle, met at 401 evenly spaced instants.
 * @param spanS how far either side of the step to look
 * @param limits beyond which an estimate has not settled
 */
export function step(
  f0: number,
  kind: 'magnitude' | 'angle',
  at: At,
  spanS: number,
  limits: StepReached['responseS'],
): StepReached {
  const size = kind === 'magnitude' ? 0.1 : (10 * Math.PI) / 180;
  const after = (s: number) => (s >= 1 ? size : 0);
  const signal: Signal = {
    nominalHz: f0,
    deviationHz: () => 0,
    ...(kind === 'magnitude' ? { size: (s) => 1 + after(s), phase: () => 0.5 } : { phase: (s) => 0.5 + after(s) }),
  };
  const everyS = (2 * spanS) / POINTS;
  const met = Array.from({ length: POINTS + 1 }, (_, k) => at(signal, 1 - spanS + k * everyS));
  const response = (key: keyof StepReached['responseS']) => {
    const out = met.filter((m) => m.errors[key] > limits[key]).map((m) => m.atS);
    return out.length > 0 ? out.at(-1)! - out[0]! + everyS : 0;
  };
  const passed = met.map((m) => (kind === 'magnitude' ? m.size - 1 : m.phase - 0.5) / size);
  const crossed = passed.findIndex((x) => x >= 0.5);
  const share = (0.5 - passed[crossed - 1]!) / (passed[crossed]! - passed[crossed - 1]!);
  return {
    responseS: { tvePct: response('tvePct'), feHz: response('feHz'), rfeHzPerS: response('rfeHzPerS') },
    delayS: met[crossed - 1]!.atS + share * everyS - 1,
    overshootPct: 100 * Math.max(...passed.map((x) => Math.max(x - 1, -x))),
  };
}
