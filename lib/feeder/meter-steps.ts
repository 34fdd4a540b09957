/** Stored readings of voltages as the series of a meter batch: their mean in each step of time. */
import { formatInstant, parseInstant } from '../instant';
import type { Reading } from '../records';
import type { MeterBatch, VoltageSeries } from './meter-evidence';
import type { Feeder } from './model';

export interface MeterSpan {
  /** what the trace is to name as its source */
  readonly id: string;
  /** terminal known to be on each phase, e.g. of the three-phase meter at the source; it may be elsewhere than on the feeder */
  readonly phases: Readonly<Record<string, string>>;
  readonly fromUs: number;
  /** not included */
  readonly untilUs: number;
  readonly stepS: number;
}

/** Steps of a span that are reckoned with: two years of quarters of an hour. */
export const MOST_STEPS = 70_000;

interface Sums {
  readonly sum: Float64Array;
  readonly count: Uint32Array;
  /** readings of its newest instant: one of them may yet be corrected */
  readonly last: Map<string, number>;
  lastAt: string;
}

/** Takes readings in the order in which they were taken; those of other places, without a voltage or between two phases are passed over. */
export class VoltageSteps {
  private readonly series = new Map<string, Sums>();
  private readonly steps: number;

  /** @throws RangeError that says what of the span is wrong, and what would be right */
  constructor(
    private readonly feeder: Feeder,
    private readonly span: MeterSpan,
  ) {
    this.steps = Math.ceil((span.untilUs - span.fromUs) / (1e6 * span.stepS));
    if (!(this.steps >= 1 && this.steps <= MOST_STEPS)) {
      throw new RangeError(
        `from, until and stepS make ${this.steps} steps; expected from before until, and 1 to ${MOST_STEPS} steps`,
      );
    }
    const lacking = feeder.phases.filter((p) => !span.phases[p]);
    if (lacking.length > 0)
      throw new RangeError(`phases: names no terminal of ${lacking.join(', ')}; expected one a phase`);
  }

  add({ id, terminal, takenAt, voltageV, voltageIs, corrects }: Reading): void {
    if (voltageV === undefined || voltageIs === 'phase-to-phase' || !this.wanted(terminal)) return;
    const step = Math.floor((parseInstant(takenAt) - this.span.fromUs) / (1e6 * this.span.stepS));
    if (!(step >= 0 && step < this.steps)) return;
    const held = this.sums(terminal);
    if (held.lastAt !== takenAt) held.last.clear();
    held.lastAt = takenAt;
    const wrong = corrects === undefined ? undefined : held.last.get(corrects);
    held.sum[step]! += voltageV - (wrong ?? 0);
    held.count[step]! += wrong === undefined ? 1 : 0;
    held.last.set(id, voltageV);
  }

  batch(): MeterBatch {
    const { id, phases, untilUs } = this.span;
    const known = new Set(Object.values(phases));
    const meters = [...this.series.keys()].filter((t) => !known.has(t));
    return {
      id,
      until: formatInstant(untilUs),
      phases: Object.fromEntries(Object.entries(phases).map(([phase, t]) => [phase, this.means(t)])),
      meters: Object.fromEntries(meters.map((t) => [t, this.means(t)])),
    };
  }

  private wanted(terminal: string): boolean {
    return this.feeder.terminals.has(terminal) || Object.values(this.span.phases).includes(terminal);
  }

  private sums(terminal: string): Sums {
    const held = this.series.get(terminal);
    if (held) return held;
    const made = { sum: new Float64Array(this.steps), count: new Uint32Array(this.steps), last: new Map(), lastAt: '' };
    this.series.set(terminal, made);
    return made;
  }

  private means(terminal: string): VoltageSeries {
    const { sum, count } = this.sums(terminal);
    return Array.from(sum, (total, i) => (count[i]! > 0 ? total / count[i]! : null));
  }
}
