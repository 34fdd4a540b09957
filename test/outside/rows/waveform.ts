import { wavePhasor } from '../../../lib/waveform';
import {
  frequency,
  harmonics,
  type Met,
  magnitude,
  modulation,
  outOfBand,
  type Run,
  ramp,
  step,
} from '../../kit/standard-signals';
import { type Errors, errorsOf, PEAK, type Signal, sampled } from '../../kit/waves';
import { csv } from '../data';
import type { CheckRow } from '../rows';

export const title = 'Phasor from samples (two-pass Hann, 4 cycles, 64 samples a cycle) against synchrophasor limits';

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
    const isMiss = MISSES.some(([where, which]) => which === key && where.test(what));
    return limited(base, reached[key], most, isMiss);
  });
}
/** A row that passes within the limit, or one that says that the limit is not met and fails when it is. */
function limited(
  base: Pick<CheckRow, 'what' | 'source' | 'confidence'>,
  value: number,
  most: number,
  isMiss: boolean,
): CheckRow {
  if (!isMiss) return { ...base, expected: 0, got: () => value, tolerance: most };
  return {
    ...base,
    expected: 'not met',
    got: () => (value > most ? 'not met' : 'met'),
    tolerance: 0,
    note: `NOT MET: reached ${value.toPrecision(3)}, limit ${most.toPrecision(3)}`,
  };
}

const run: Run = (signal, startS = 0.3) => errorsOf(signal, wavePhasor(sampled(signal, startS)));

function stepRows(f0: Nominal): CheckRow[] {
  const at = (signal: Signal, middleS: number): Met => {
    const got = wavePhasor(sampled(signal, middleS - 2.5 / f0));
    if (!got.ok) throw new Error(got.why);
    const size = (got.rms * Math.SQRT2) / PEAK;
    return { atS: got.atUs / 1e6, size, phase: (got.angleDeg * Math.PI) / 180, errors: errorsOf(signal, got) };
  };
  return (['magnitude', 'angle'] as const).flatMap((kind) => {
    const reached = step(f0, kind, at);
    const what = `${f0} Hz, step of 10 ${kind === 'magnitude' ? '%' : 'degrees'}`;
    const row = (pmuClass: 'P' | 'M', unit: string, value: number, most: number, isMiss = false): CheckRow => {
      const base = { what: `${what}, class ${pmuClass}: ${unit}`, source: listed('dynamic: step', pmuClass).source };
      return limited({ ...base, confidence: 'medium' }, value, most, isMiss);
    };
    return [
      row('P', 'TVE response s', reached.responseS, 2 / f0, STEP_MISSES.includes(kind)),
      row('P', 'overshoot % of the step', reached.overshootPct, 5),
      row('M', 'TVE response s', reached.responseS, 7 / f0),
      row('M', 'overshoot % of the step', reached.overshootPct, 10),
    ];
  });
}

/** Four cycles under the taper answer more slowly than two. */
const STEP_MISSES: readonly string[] = ['angle'];

function rowsAt(f0: Nominal): CheckRow[] {
  const hz = `${f0} Hz`;
  const m = RATES[f0].map((fps) => {
    const fr = Math.min(fps / 5, 5);
    const at = `${hz}, ${fps} frames/s`;
    const limit = { feHz: 0.06 * fr, rfeHzPerS: 0.18 * Math.PI * fr * fr };
    const wide = fps < 10 ? 2 : fr;
    return [
      ...rowsOf(`${at}, frequency +/-${wide} Hz`, 'steady: frequency', 'M', frequency(run, f0, wide)),
      ...rowsOf(`${at}, out-of-band tones`, 'steady: out-of-band', 'M', outOfBand(run, f0, fps)),
      ...rowsOf(`${at}, amplitude modulation`, 'dynamic: modulation', 'M', modulation(run, f0, fr, 'amplitude'), limit),
      ...rowsOf(`${at}, phase modulation`, 'dynamic: modulation', 'M', modulation(run, f0, fr, 'phase'), limit),
      ...rowsOf(`${at}, ramp to +/-${wide} Hz`, 'dynamic: ramp', 'M', ramp(run, f0, wide)),
      ...rowsOf(`${at}, 10 % harmonics`, 'steady: harmonic', 'M', harmonics(run, f0, 0.1), {
        feHz: fps > 20 ? 0.025 : 0.005,
      }),
    ];
  });
  const p = RATES[f0].map((fps) => {
    const fr = Math.min(fps / 10, 2);
    const limit = { feHz: 0.03 * fr, rfeHzPerS: 0.18 * Math.PI * fr * fr };
    const at = `${hz}, ${fps} frames/s`;
    return [
      ...rowsOf(`${at}, amplitude modulation`, 'dynamic: modulation', 'P', modulation(run, f0, fr, 'amplitude'), limit),
      ...rowsOf(`${at}, phase modulation`, 'dynamic: modulation', 'P', modulation(run, f0, fr, 'phase'), limit),
    ];
  });
  return [
    ...rowsOf(`${hz}, frequency +/-2 Hz`, 'steady: frequency', 'P', frequency(run, f0, 2)),
    ...rowsOf(`${hz}, voltage 80 to 120 %`, 'steady: voltage magnitude', 'P', magnitude(run, f0, [0.8, 1, 1.2])),
    ...rowsOf(`${hz}, voltage 10 to 120 %`, 'steady: voltage magnitude', 'M', magnitude(run, f0, [0.1, 0.5, 1.2])),
    ...rowsOf(`${hz}, current 10 to 200 %`, 'steady: current magnitude', 'M', magnitude(run, f0, [0.1, 1, 2])),
    ...rowsOf(`${hz}, 1 % harmonics 2nd to 50th`, 'steady: harmonic', 'P', harmonics(run, f0, 0.01)),
    ...rowsOf(`${hz}, ramp to +/-2 Hz`, 'dynamic: ramp', 'P', ramp(run, f0, 2)),
    ...p.flat(),
    ...m.flat(),
  ];
}

export const rows: readonly CheckRow[] = [...rowsAt(50), ...stepRows(50), ...rowsAt(60), ...stepRows(60)];
