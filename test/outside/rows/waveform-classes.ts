import { classPhasor, M_FILTERS, type WaveFilter } from '../../../lib/waveform-classes';
import { frequency, harmonics, modulation, outOfBand, type Run, ramp } from '../../kit/standard-signals';
import { type Errors, errorsOf, sampled } from '../../kit/waves';
import { csv } from '../data';
import type { CheckRow } from '../rows';

export const title =
  'Phasor from samples, reference filters of class P and M, 64 samples a cycle: TVE (frequency of one phase ripples and is not claimed)';

const LIMITS = csv('synchrophasor_limits.csv');

/** The window lies on the middle of where the four-cycle estimator would look. */
const runOf =
  (f0: number, filter: WaveFilter, cycles: number): Run =>
  (signal, startS = 0.3) =>
    errorsOf(signal, classPhasor(sampled(signal, startS + (2.5 - cycles / 2) / f0, 64, cycles), filter));

function row(what: string, test: string, pmuClass: 'P' | 'M', reached: Errors): CheckRow {
  const limit = LIMITS.find((r) => r.test!.startsWith(test) && r.class === pmuClass);
  if (!limit) throw new Error(`no limit for ${test}, class ${pmuClass}`);
  return {
    what: `${what}, class ${pmuClass}: TVE %`,
    source: `IEC/IEEE 60255-118-1:2018, ${test}, class ${pmuClass}; ${limit.source}`,
    confidence: 'medium',
    expected: 0,
    got: () => reached.tvePct,
    tolerance: Number(limit.max_tve_pct),
  };
}

function classP(f0: number): CheckRow[] {
  const run = runOf(f0, { class: 'P' }, 5);
  return [
    row(`${f0} Hz, frequency +/-2 Hz`, 'steady: frequency', 'P', frequency(run, f0, 2)),
    row(`${f0} Hz, 1 % harmonics 2nd to 50th`, 'steady: harmonic', 'P', harmonics(run, f0, 0.01)),
    row(`${f0} Hz, amplitude modulation to 2 Hz`, 'dynamic: modulation', 'P', modulation(run, f0, 2, 'amplitude')),
    row(`${f0} Hz, phase modulation to 2 Hz`, 'dynamic: modulation', 'P', modulation(run, f0, 2, 'phase')),
    row(`${f0} Hz, ramp to +/-2 Hz`, 'dynamic: ramp', 'P', ramp(run, f0, 2)),
  ];
}

function classM(f0: number, framesPerS: number): CheckRow[] {
  const run = runOf(f0, { class: 'M', framesPerS }, Math.ceil(M_FILTERS[f0]![framesPerS]![1] / 16) + 1);
  const most = Math.min(framesPerS / 5, 5);
  const at = `${f0} Hz, ${framesPerS} frames/s`;
  return [
    row(`${at}, frequency +/-${most} Hz`, 'steady: frequency', 'M', frequency(run, f0, most)),
    row(`${at}, 10 % harmonics 2nd to 50th`, 'steady: harmonic', 'M', harmonics(run, f0, 0.1)),
    row(`${at}, out-of-band tones`, 'steady: out-of-band', 'M', outOfBand(run, f0, framesPerS)),
    row(`${at}, amplitude modulation`, 'dynamic: modulation', 'M', modulation(run, f0, most, 'amplitude')),
    row(`${at}, phase modulation`, 'dynamic: modulation', 'M', modulation(run, f0, most, 'phase')),
    row(`${at}, ramp to +/-${most} Hz`, 'dynamic: ramp', 'M', ramp(run, f0, most, 7 / framesPerS)),
  ];
}

export const rows: readonly CheckRow[] = [50, 60].flatMap((f0) => [
  ...classP(f0),
  ...Object.keys(M_FILTERS[f0]!).flatMap((fps) => classM(f0, Number(fps))),
]);
