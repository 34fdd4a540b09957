/**
 * Voltages that meters record as a second evidence: a meter moves with the phase it is on. Weaker than an angle, and wrong in its own ways
 * (phases move together, too), so it is tempered: it may point, and only much of it settles.
 */
import { FAULT_RATES, type FaultRates, SHIFTS, type SiteEvidence, withFaults } from './evidence';
import { correlation, effectivePairs, lagOne, steps } from './meter-correlation';
import type { Feeder } from './model';
import { image, STATES } from './permutation';

/** Values at the same instants, in one unit; null where one is missing. */
export type VoltageSeries = readonly (number | null)[];

export interface MeterBatch {
  /** what the trace is to name as its source */
  readonly id: string;
  /** end of the series, RFC 3339 */
  readonly until: string;
  /** a series known to be of each phase of the feeder, e.g. of its three-phase meter at the source */
  readonly phases: Readonly<Record<string, VoltageSeries>>;
  /** series of each meter, by the terminal it is at */
  readonly meters: Readonly<Record<string, VoltageSeries>>;
}

/** Fewest common steps that say anything. */
const LEAST_STEPS = 24;
/** Common practice, no source: phases of real feeders move together, so most of what a correlation seems to say is not counted. */
const TEMPER = 0.3;
/** No meter makes a phase more than about this unlikely. */
const FLOOR = 0.01;
const LEAST_LOG = -60;

/** ln of the likelihood of each phase, the greatest zero, before tempering; or why there is none. */
export function meterLogs(meter: VoltageSeries, phases: readonly VoltageSeries[]): Float64Array | string {
  const own = steps(meter);
  const held = phases.map((p) => {
    const other = steps(p);
    const { r, n } = correlation(own, other);
    return { z: Math.atanh(Math.min(0.9999, Math.max(0, r))), n, worth: effectivePairs(n, lagOne(own), lagOne(other)) };
  });
  const n = Math.min(...held.map((h) => h.n));
  if (n < LEAST_STEPS) return `${n} steps in common with the phases; expected ${LEAST_STEPS} or more`;
  const best = Math.max(...held.map((h) => h.z));
  if (best === 0) return 'it moves with none of the phases; expected a series that varies';
  return Float64Array.from(held, ({ z, worth }) =>
    Math.max(LEAST_LOG, 0.5 * worth * (z - best) * Math.min(1, best + z)),
  );
}

/** Likelihood of each phase, summing to one: tempered, and floored, since the record of a meter's place may be wrong. */
export function meterLikelihood(logs: ArrayLike<number>): Float64Array {
  const raw = Float64Array.from(logs, (l) => Math.exp(TEMPER * l));
  const sum = raw.reduce((a, b) => a + b, 0);
  return raw.map((x) => (1 - FLOOR) * (x / sum) + FLOOR / raw.length);
}

export interface MeterEvidence {
  readonly evidence: readonly SiteEvidence[];
  /** meters that say nothing, and why */
  readonly passedOver: readonly { readonly terminal: string; readonly why: string }[];
}

/**
 * Evidence of meters between one conductor and neutral. Behind a transformer that turns the angle a voltage hangs on two phases of the
 * source: such meters are passed over.
 * @throws RangeError when a phase of the feeder has no series
 */
export function meterEvidence(feeder: Feeder, batch: MeterBatch, rates: FaultRates = FAULT_RATES): MeterEvidence {
  const phases = feeder.phases.map((p) => {
    const series = batch.phases[p];
    if (!series)
      throw new RangeError(
        `phases: there is no series of phase ${p}; expected one for each of ${feeder.phases.join(', ')}`,
      );
    return series;
  });
  const shifts = feeder.windings.size > 0 ? SHIFTS : 1;
  const evidence: SiteEvidence[] = [];
  const passedOver: { terminal: string; why: string }[] = [];
  for (const [terminal, series] of Object.entries(batch.meters)) {
    const place = feeder.terminals.get(terminal);
    const logs = place ? meterLogs(series, phases) : 'it is at no terminal of the feeder';
    const why =
      place && isTurned(feeder, place.section) ? 'a transformer between it and the source turns the angle' : logs;
    if (!place || typeof logs === 'string' || typeof why === 'string') {
      passedOver.push({ terminal, why: String(why) });
      continue;
    }
    const likely = meterLikelihood(logs);
    const clean = Float64Array.from(
      { length: STATES * shifts },
      (_, i) => 3 * likely[image(Math.floor(i / shifts), place.conductor)]!,
    );
    evidence.push({ section: place.section, from: [batch.id], ...withFaults(clean, rates) });
  }
  return { evidence, passedOver };
}

function isTurned(feeder: Feeder, section: number): boolean {
  for (let v = section; v > 0; v = feeder.parent[v]!) if (feeder.windings.has(v)) return true;
  return false;
}
