import { wavePhasor } from '../../../lib/waveform';
import { type Errors, errorsOf, type Signal, sampled, steady, worst } from '../../kit/waves';
import { csv } from '../data';
import type { CheckRow } from '../rows';

export const title = 'Phasor from samples (two-pass Hann, 4 cycles, 64 samples a cycle) against synchrophasor limits';

const TAU = 2 * Math.PI;
const LIMITS = csv('synchrophasor_limits.csv');
const RATES = { 50: [10, 25, 50, 100], 60: [10, 12, 15, 20, 30, 60, 120] } as const;
type Nominal = keyof typeof RATES;

/** Limits by kind of error; one that the standard leaves open is left out. */
type Limit = Partial<Record<keyof Errors, number>>;
const UNITS: Record<keyof Errors, string> = {
  tvePct: 'TVE %',
  feHz: 'FE Hz',
  rfeHzPerS: 'RFE Hz/s',
  angleDeg: 'angle degrees',
};

function listed(test: string, pmuClass: 'P' | 'M'): { limit: Limit; source: string } {
  const row = LIMITS.find((r) => r.test!.startsWith(test) && r.class === pmuClass);
  if (!row) throw new Error(`no limit for ${test}, class ${pmuClass}`);
  const cells: [keyof Errors, string][] = [
    ['tvePct', row.max_tve_pct!],
    ['feHz', row.max_fe_hz!],
    ['rfeHzPerS', row.max_rfe_hz_s!],
  ];
  const numbers = cells.filter(([, v]) => v !== '' && Number.isFinite(Number(v))).map(([key, v]) => [key, Number(v)]);
  const limit: Limit = Object.fromEntries(numbers);
  return { limit, source: `IEC/IEEE 60255-118-1:2018, ${test}, class ${pmuClass}; ${row.source}` };
}

/** What this estimator is known not to meet, all of class M; anything else over its limit fails. */
const MISSES: readonly [RegExp, keyof Errors][] = [
  [/ (10|12|15|20|25|30) frames\/s, out-of-band/, 'tvePct'],
  [/ (10|12|15|20|25|30|50|60) frames\/s, out-of-band/, 'feHz'],
  [/frequency \+\/-[45] Hz/, 'feHz'],
  [/frequency \+\/-[345] Hz/, 'rfeHzPerS'],
  [/ramp to \+\/-[45] Hz/, 'rfeHzPerS'],
];

/** One row an error that has a limit: met within it, or documented as a miss. */
function rowsOf(what: string, test: string, pmuClass: 'P' | 'M', reached: Errors, over: Limit = {}): CheckRow[] {
  const { limit, source } = listed(test, pmuClass);
  return (Object.entries({ ...limit, ...over }) as [keyof Errors, number][]).map(([key, most]) => {
    const base = { what: `${what}, class ${pmuClass}: ${UNITS[key]}`, source, confidence: 'medium' as const };
    if (!MISSES.some(([where, which]) => which === key && where.test(what)))
      return { ...base, expected: 0, got: () => reached[key], tolerance: most };
    return {
      ...base,
      expected: 'not met',
      got: () => (reached[key] > most ? 'not met' : 'met'),
      tolerance: 0,
      note: `NOT MET: reached ${reached[key].toPrecision(3)}, limit ${most.toPrecision(3)}`,
    };
  });
}

const run = (signal: Signal, startS = 0.3): Errors => errorsOf(signal, wavePhasor(sampled(signal, startS)));
const around = (count: number) => Array.from({ length: count }, (_, k) => (TAU * k) / count - 3);
const steps = (from: number, to: number, by: number) =>
  Array.from({ length: Math.round((to - from) / by) + 1 }, (_, k) => from + k * by);
const starts = (spanS: number) => Array.from({ length: 24 }, (_, k) => (spanS * k) / 24);

function frequency(f0: Nominal, most: number): Errors {
  return worst(steps(-most, most, most / 8).flatMap((off) => around(5).map((a) => run(steady(f0, off, a)))));
}

function magnitude(f0: Nominal, sizes: readonly number[]): Errors {
  return worst(sizes.flatMap((size) => around(8).map((a) => run({ ...steady(f0, 0, a), size: () => size }))));
}

function harmonics(f0: Nominal, share: number): Errors {
  const one = (h: number) => around(4).map((a) => run(steady(f0, 0, a, (s) => share * Math.cos(TAU * h * f0 * s))));
  return worst(steps(2, 50, 1).flatMap(one));
}

function outOfBand(f0: Nominal, fps: number): Errors {
  const tones = steps(10, 2 * f0, 2.5).filter((tone) => Math.abs(tone - f0) >= fps / 2);
  const one = (off: number, tone: number) =>
    around(4).map((a) => run(steady(f0, off, a, (s) => 0.1 * Math.cos(TAU * tone * s))));
  return worst([-0.05 * fps, 0, 0.05 * fps].flatMap((off) => tones.flatMap((tone) => one(off, tone))));
}

function modulation(f0: Nominal, most: number, kind: 'amplitude' | 'phase'): Errors {
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

function ramp(f0: Nominal, most: number): Errors {
  const signal = (up: number): Signal => ({
    nominalHz: f0,
    phase: (s) => Math.PI * up * (s - most) ** 2,
    deviationHz: (s) => up * (s - most),
    rocof: () => up,
  });
  return worst([1, -1].flatMap((up) => starts(2 * most - 0.2).map((s0) => run(signal(up), s0 + 0.05))));
}

function rowsAt(f0: Nominal): CheckRow[] {
  const hz = `${f0} Hz`;
  const m = RATES[f0].map((fps) => {
    const fr = Math.min(fps / 5, 5);
    const at = `${hz}, ${fps} frames/s`;
    const limit = { feHz: 0.06 * fr, rfeHzPerS: 0.18 * Math.PI * fr * fr };
    const wide = fps < 10 ? 2 : fr;
    return [
      ...rowsOf(`${at}, frequency +/-${wide} Hz`, 'steady: frequency', 'M', frequency(f0, wide)),
      ...rowsOf(`${at}, out-of-band tones`, 'steady: out-of-band', 'M', outOfBand(f0, fps)),
      ...rowsOf(`${at}, amplitude modulation`, 'dynamic: modulation', 'M', modulation(f0, fr, 'amplitude'), limit),
      ...rowsOf(`${at}, phase modulation`, 'dynamic: modulation', 'M', modulation(f0, fr, 'phase'), limit),
      ...rowsOf(`${at}, ramp to +/-${wide} Hz`, 'dynamic: ramp', 'M', ramp(f0, wide)),
      ...rowsOf(`${at}, 10 % harmonics`, 'steady: harmonic', 'M', harmonics(f0, 0.1), {
        feHz: fps > 20 ? 0.025 : 0.005,
      }),
    ];
  });
  const p = RATES[f0].map((fps) => {
    const fr = Math.min(fps / 10, 2);
    const limit = { feHz: 0.03 * fr, rfeHzPerS: 0.18 * Math.PI * fr * fr };
    const at = `${hz}, ${fps} frames/s`;
    return [
      ...rowsOf(`${at}, amplitude modulation`, 'dynamic: modulation', 'P', modulation(f0, fr, 'amplitude'), limit),
      ...rowsOf(`${at}, phase modulation`, 'dynamic: modulation', 'P', modulation(f0, fr, 'phase'), limit),
    ];
  });
  return [
    ...rowsOf(`${hz}, frequency +/-2 Hz`, 'steady: frequency', 'P', frequency(f0, 2)),
    ...rowsOf(`${hz}, voltage 80 to 120 %`, 'steady: voltage magnitude', 'P', magnitude(f0, [0.8, 1, 1.2])),
    ...rowsOf(`${hz}, voltage 10 to 120 %`, 'steady: voltage magnitude', 'M', magnitude(f0, [0.1, 0.5, 1.2])),
    ...rowsOf(`${hz}, current 10 to 200 %`, 'steady: current magnitude', 'M', magnitude(f0, [0.1, 1, 2])),
    ...rowsOf(`${hz}, 1 % harmonics 2nd to 50th`, 'steady: harmonic', 'P', harmonics(f0, 0.01)),
    ...rowsOf(`${hz}, ramp to +/-2 Hz`, 'dynamic: ramp', 'P', ramp(f0, 2)),
    ...p.flat(),
    ...m.flat(),
  ];
}

export const rows: readonly CheckRow[] = [...rowsAt(50), ...rowsAt(60)];
