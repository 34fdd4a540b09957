/** Which nominal voltage system a measured voltage belongs to, and whether it lies in the range of its standard. */
import { NOMINAL_SYSTEMS, type NominalSystem, type VoltageStandard } from './nominal-systems';
import type { Reason, VoltageIs } from './records';

export interface NominalOptions {
  /** left out: both phase to phase and phase to neutral are tried */
  readonly voltageIs?: VoltageIs;
  /** farthest from nominal that still counts as this system, percent */
  readonly withinPct?: number;
}

export interface Matched {
  readonly matched: true;
  readonly system: NominalSystem;
  readonly voltageIs: 'phase-to-phase' | 'phase-to-neutral';
  readonly nominalV: number;
  readonly perUnit: number;
  readonly deviationPct: number;
  /** of the standard; 'not-stated' where it gives none for this system */
  readonly range: 'A' | 'B' | 'outside' | 'not-stated';
  /** within about 5 % of nominal, erring high, as a portable instrument reads (common practice, no source) */
  readonly withinPortableTolerance: boolean;
  /** other systems that fit as well */
  readonly others: readonly string[];
}

export interface Unmatched {
  readonly matched: false;
  readonly nearest: NominalSystem | null;
  readonly reasons: readonly Reason[];
}

/** A portable reading is taken as normal from -5 % to +7 % of nominal: about 5 %, erring high (common practice, no source). */
export const PORTABLE_TOLERANCE_PCT: readonly [number, number] = [-5, 7];
const WITHIN_PCT = 10;
const SQRT3 = Math.sqrt(3);

interface Candidate {
  readonly system: NominalSystem;
  readonly voltageIs: Matched['voltageIs'];
  readonly nominalV: number;
}

/**
 * The nominal system nearest to a measured voltage.
 * @param volts measured, above 0; a reading near zero matches nothing and proves nothing about the absence of voltage
 * @example nominalSystem(7350, 'ANSI C84.1', { voltageIs: 'phase-to-neutral' }).system.name // '12470Y/7200'
 * @example nominalSystem(231, 'IEC 60038', { voltageIs: 'phase-to-neutral' }).system.name // '230/400'
 */
export function nominalSystem(
  volts: number,
  standard: VoltageStandard,
  options: NominalOptions = {},
): Matched | Unmatched {
  const withinPct = options.withinPct ?? WITHIN_PCT;
  if (!Number.isFinite(volts) || volts < 0) {
    return unmatched(null, 'voltage-not-a-number', `${volts} is not a voltage`, 'a finite magnitude in volts');
  }
  const ranked = candidates(standard, options.voltageIs).sort((a, b) => apart(volts, a) - apart(volts, b));
  const best = ranked[0]!;
  if (apart(volts, best) * 100 > withinPct) return refuse(volts, best, withinPct);
  const others = ranked.slice(1).filter((c) => apart(volts, c) * 100 <= withinPct);
  return match(volts, best, others);
}

function candidates(standard: VoltageStandard, voltageIs: VoltageIs | undefined): Candidate[] {
  return NOMINAL_SYSTEMS.filter((s) => s.standard === standard).flatMap((system) => {
    const line: Candidate = { system, voltageIs: 'phase-to-phase', nominalV: system.phaseToPhaseV };
    const phaseV = system.phaseToNeutralV ?? (system.phaseToPhaseV > 1000 ? system.phaseToPhaseV / SQRT3 : null);
    const phase: Candidate[] = phaseV === null ? [] : [{ system, voltageIs: 'phase-to-neutral', nominalV: phaseV }];
    if (voltageIs === undefined) return [line, ...phase];
    return voltageIs === 'phase-to-phase' ? [line] : phase;
  });
}

const apart = (volts: number, c: Candidate): number => Math.abs(volts / c.nominalV - 1);

function match(volts: number, best: Candidate, others: readonly Candidate[]): Matched {
  const perUnit = volts / best.nominalV;
  const deviationPct = 100 * (perUnit - 1);
  return Object.freeze({
    matched: true,
    ...best,
    perUnit,
    deviationPct,
    range: rangeOf(volts * (best.system.phaseToPhaseV / best.nominalV), best.system),
    withinPortableTolerance: deviationPct >= PORTABLE_TOLERANCE_PCT[0] && deviationPct <= PORTABLE_TOLERANCE_PCT[1],
    others: Object.freeze(others.map((c) => `${c.system.name} ${c.voltageIs}`)),
  });
}

function rangeOf(phaseToPhaseV: number, system: NominalSystem): Matched['range'] {
  const inside = (r: readonly [number, number] | null) => r !== null && phaseToPhaseV >= r[0] && phaseToPhaseV <= r[1];
  if (!system.rangeA && !system.rangeB) return 'not-stated';
  if (inside(system.rangeA)) return 'A';
  return inside(system.rangeB) ? 'B' : 'outside';
}

/** Below this share of the lowest nominal voltage nothing was read. */
function refuse(volts: number, best: Candidate, withinPct: number): Unmatched {
  if (volts < 0.1 * best.nominalV) {
    return unmatched(
      best.system,
      'no-voltage-read',
      `${volts} V is next to nothing; this proves nothing about the absence of voltage`,
      'test for the absence of voltage with a detector rated for it, by local rules',
    );
  }
  const why = `${volts} V is ${(100 * (volts / best.nominalV - 1)).toFixed(1)} % from the nearest nominal voltage, ${best.nominalV.toFixed(0)} V (${best.system.name}); ${withinPct} % are allowed`;
  return unmatched(
    best.system,
    'no-nominal-voltage-near',
    why,
    'check what the voltage was read between, and the ratio of any test point',
  );
}

function unmatched(nearest: NominalSystem | null, code: string, why: string, settle: string): Unmatched {
  return Object.freeze({ matched: false, nearest, reasons: Object.freeze([Object.freeze({ code, why, settle })]) });
}
