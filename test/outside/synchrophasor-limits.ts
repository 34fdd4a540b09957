/** An estimator of phasors held against every limit of IEC/IEEE 60255-118-1 for a class and a reporting rate, one row each. */
import {
  type At,
  frequency,
  harmonics,
  magnitude,
  modulation,
  outOfBand,
  type Run,
  ramp,
  type StepReached,
  step,
} from '../kit/standard-signals';
import type { Errors } from '../kit/waves';
import { csv } from './data';
import type { CheckRow } from './rows';

const LIMITS = csv('synchrophasor_limits.csv');
export const REPORTING_RATES = { 50: [10, 25, 50, 100], 60: [10, 12, 15, 20, 30, 60, 120] } as const;
export type Nominal = keyof typeof REPORTING_RATES;
export type PmuClass = 'P' | 'M';

/** What an estimator is known not to meet, and why. Anything else over its limit fails; so does a miss that is met. */
export interface Miss {
  readonly row: RegExp;
  readonly why: string;
}

export interface Estimator {
  readonly at: At;
  /** seconds from an end of the window to its middle */
  readonly halfS: number;
  readonly misses: readonly Miss[];
}

type Limit = Partial<Record<keyof Errors, number>>;
const UNITS: Record<keyof Errors, string> = {
  tvePct: 'TVE %',
  feHz: 'FE Hz',
  rfeHzPerS: 'RFE Hz/s',
  angleDeg: 'angle degrees',
};

function listed(test: string, pmuClass: PmuClass): { limit: Limit; source: string } {
  const row = LIMITS.find((r) => r.test!.startsWith(test) && r.class!.split(' and ').includes(pmuClass));
  if (!row) throw new Error(`no limit for ${test}, class ${pmuClass}`);
  const cells = { tvePct: row.max_tve_pct!, feHz: row.max_fe_hz!, rfeHzPerS: row.max_rfe_hz_s! };
  const numbers = Object.entries(cells).flatMap(([key, v]) => (v !== '' && Number(v) >= 0 ? [[key, Number(v)]] : []));
  const source = `IEC/IEEE 60255-118-1:2018, ${test}, class ${pmuClass}; ${row.source}`;
  return { limit: Object.fromEntries(numbers), source };
}

/** Rows of one class at one rate. What does not depend on the rate is worked out once for an estimator. */
export class LimitTable {
  private readonly known = new Map<string, unknown>();
  private readonly run: Run;

  constructor(
    private readonly f0: Nominal,
    private readonly estimator: Estimator,
  ) {
    this.run = (signal, startS = 0.3) => estimator.at(signal, startS + 2.5 / f0).errors;
  }

  rows(pmuClass: PmuClass, fps: number): CheckRow[] {
    return [...this.steady(pmuClass, fps), ...this.dynamic(pmuClass, fps), ...this.steps(pmuClass, fps)];
  }

  private steady(pmuClass: PmuClass, fps: number): CheckRow[] {
    const { f0, run } = this;
    const isP = pmuClass === 'P';
    const most = isP ? 2 : Math.min(fps / 5, 5);
    const share = isP ? 0.01 : 0.1;
    const feHz = isP ? {} : { feHz: fps > 20 ? 0.025 : 0.005 };
    const sizes = isP ? [0.8, 1, 1.2] : [0.1, 0.5, 1, 1.2];
    const one = (what: string, test: string, work: () => Errors, over: Limit = {}) =>
      this.limited(pmuClass, fps, what, `steady: ${test}`, this.once(what, work), over);
    return [
      ...one(`frequency +/-${most} Hz`, 'frequency', () => frequency(run, f0, most)),
      ...one(`voltage ${100 * sizes[0]!} to 120 %`, 'voltage magnitude', () => magnitude(run, f0, sizes)),
      ...one('current 10 to 200 %', 'current magnitude', () => magnitude(run, f0, [0.1, 1, 2])),
      ...one('any angle within 0.25 Hz', 'phase angle', () => frequency(run, f0, 0.25)),
      ...one(`${100 * share} % of each harmonic to the 50th`, 'harmonic', () => harmonics(run, f0, share), feHz),
      ...(isP ? [] : one(`tones ${fps / 2} Hz off and more`, 'out-of-band', () => outOfBand(run, f0, fps))),
    ];
  }

  private dynamic(pmuClass: PmuClass, fps: number): CheckRow[] {
    const { f0, run } = this;
    const isP = pmuClass === 'P';
    const most = Math.min(fps / (isP ? 10 : 5), isP ? 2 : 5);
    const limit = { feHz: (isP ? 0.03 : 0.06) * most, rfeHzPerS: 0.18 * Math.PI * most * most };
    const swing = (kind: 'amplitude' | 'phase') => {
      const what = `${kind} modulation to ${most} Hz`;
      const reached = this.once(what, () => modulation(run, f0, most, kind));
      return this.limited(pmuClass, fps, what, 'dynamic: modulation', reached, limit);
    };
    const reach = isP ? 2 : most;
    const what = `ramp of 1 Hz/s to +/-${reach} Hz`;
    const reached = this.once(`${what} ${isP} ${fps}`, () => ramp(run, f0, reach, (isP ? 2 : 7) / fps));
    return [
      ...swing('amplitude'),
      ...swing('phase'),
      ...this.limited(pmuClass, fps, what, 'dynamic: ramp', reached, {}),
    ];
  }

  private steps(pmuClass: PmuClass, fps: number): CheckRow[] {
    const { f0 } = this;
    const isP = pmuClass === 'P';
    const { source } = listed('dynamic: step', pmuClass);
    const settled = { tvePct: 1, feHz: 0.005, rfeHzPerS: isP ? 0.4 : 0.1 };
    const most = (cycles: number, frames: number) => (isP ? cycles / f0 : Math.max(frames / f0, frames / fps));
    return (['magnitude', 'angle'] as const)
      .flatMap((kind) => {
        const reached: StepReached = this.once(`step ${kind} ${pmuClass}`, () =>
          step(f0, kind, this.estimator.at, this.estimator.halfS + 1 / f0, settled),
        );
        const row = (unit: string, value: number, limit: number) =>
          this.row(
            pmuClass,
            fps,
            `step of 10 ${kind === 'magnitude' ? '%' : 'degrees'}: ${unit}`,
            source,
            value,
            limit,
          );
        return [
          row('TVE response s', reached.responseS.tvePct, most(2, 7)),
          row('frequency response s', reached.responseS.feHz, most(4.5, 14)),
          row('ROCOF response s', reached.responseS.rfeHzPerS, most(6, 14)),
          row('delay s', Math.abs(reached.delayS), 1 / (4 * fps)),
          row('overshoot % of the step', reached.overshootPct, isP ? 5 : 10),
        ];
      })
      .concat(this.latency(pmuClass, fps));
  }

  /** Computing and sending come on top of it. */
  private latency(pmuClass: PmuClass, fps: number): CheckRow {
    const { source } = listed('reporting latency', pmuClass);
    const limit = (pmuClass === 'P' ? 2 : 7) / fps;
    return this.row(pmuClass, fps, 'latency by the window alone s', source, this.estimator.halfS, limit);
  }

  /** One row an error that has a limit. */
  private limited(pmuClass: PmuClass, fps: number, what: string, test: string, reached: Errors, over: Limit) {
    const { limit, source } = listed(test, pmuClass);
    return (Object.entries({ ...limit, ...over }) as [keyof Errors, number][]).map(([key, most]) =>
      this.row(pmuClass, fps, `${what}: ${UNITS[key]}`, source, reached[key], most),
    );
  }

  private row(pmuClass: PmuClass, fps: number, test: string, source: string, value: number, most: number): CheckRow {
    const what = `${this.f0} Hz ${pmuClass} ${fps}/s, ${test}`;
    const miss = this.estimator.misses.find(({ row }) => row.test(what));
    const base = { what, source, confidence: 'medium' as const };
    if (!miss) return { ...base, expected: 0, got: () => value, tolerance: most };
    const note = `NOT MET: reached ${value.toPrecision(3)}, limit ${most.toPrecision(3)}; ${miss.why}`;
    return { ...base, expected: 'not met', got: () => (value > most ? 'not met' : 'met'), tolerance: 0, note };
  }

  private once<T>(key: string, work: () => T): T {
    if (!this.known.has(key)) this.known.set(key, work());
    return this.known.get(key) as T;
  }
}
