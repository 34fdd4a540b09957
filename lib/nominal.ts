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
  /** as asked; else what fits best. phase-to-earth where the system has no neutral, or none is stated */
  readonly voltageIs: VoltageIs;
  readonly nominalV: number;
  readonly perUnit: number;
  readonly deviationPct: number;
  /** A and B: of ANSI C84.1; supply: of IEC 60038, 10 % either way; not-stated: the standard gives none for this system */
  readonly range: 'A' | 'B' | 'supply' | 'outside' | 'not-stated';
  /** within about 5 % of nominal, as a portable instrument reads; it errs high more than low (common practice, no source) */
  readonly withinPortableTolerance: boolean;
  /** other systems that the voltage fits, by their range or within portable tolerance */
  readonly others: readonly string[];
}

export interface Unmatched {
  readonly matched: false;
  readonly nearest: NominalSystem | null;
  readonly reasons: readonly Reason[];
}

/** How far from nominal a portable reading is normal, percent: common practice, no source. */
export const PORTABLE_TOLERANCE_PCT = 5;
const WITHIN_PCT = 10;
/** 120 V times 1.05 is 5 % high, not 5.000000000000004 %. */
const ROUNDING_PCT = 1e-9;
/** Below this share of the nearest nominal voltage nothing was read. */
const NOTHING_PU = 0.1;
const SQRT3 = Math.sqrt(3);

interface Candidate {
  readonly system: NominalSystem;
  readonly voltageIs: VoltageIs;
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
  const ranked = candidates(standard, options.voltageIs).sort((a, b) => steps(volts, a) - steps(volts, b));
  const best = ranked[0]!;
  if (apart(volts, best) * 100 > withinPct) return refuse(volts, best, withinPct);
  const others = ranked.slice(1).filter((c) => fits(volts, c));
  return match(volts, best, others);
}

function candidates(standard: VoltageStandard, asked: VoltageIs | undefined): Candidate[] {
  return NOMINAL_SYSTEMS.filter((s) => s.standard === standard).flatMap((system) => {
    const line: Candidate = { system, voltageIs: 'phase-to-phase', nominalV: system.phaseToPhaseV };
    const phase = phaseCandidate(system, asked);
    if (asked === 'phase-to-phase') return [line];
    return asked === undefined ? [line, ...phase] : phase;
  });
}

/** Above 1 kV the voltage to earth is that of the phase whether or not there is a neutral; below, a system without one has none to speak of. */
function phaseCandidate(system: NominalSystem, asked: VoltageIs | undefined): Candidate[] {
  const { phaseToNeutralV, phaseToPhaseV, standard } = system;
  if (phaseToNeutralV !== null) return [{ system, voltageIs: asked ?? 'phase-to-neutral', nominalV: phaseToNeutralV }];
  const isThreeWire = standard === 'ANSI C84.1';
  if (phaseToPhaseV <= 1000 || (isThreeWire && asked === 'phase-to-neutral')) return [];
  return [{ system, voltageIs: asked ?? 'phase-to-earth', nominalV: phaseToPhaseV / SQRT3 }];
}

const steps = (volts: number, c: Candidate): number => Math.abs(Math.log(volts / c.nominalV));
const apart = (volts: number, c: Candidate): number => Math.abs(volts / c.nominalV - 1);

function match(volts: number, best: Candidate, others: readonly Candidate[]): Matched {
  return Object.freeze({
    matched: true,
    ...best,
    perUnit: volts / best.nominalV,
    deviationPct: deviationPct(volts, best),
    range: rangeOf(volts, best),
    withinPortableTolerance: isPortable(volts, best),
    others: Object.freeze(others.map((c) => `${c.system.name} ${c.voltageIs}`)),
  });
}

const deviationPct = (volts: number, c: Candidate): number => 100 * (volts / c.nominalV - 1);
const isPortable = (volts: number, c: Candidate): boolean =>
  Math.abs(deviationPct(volts, c)) <= PORTABLE_TOLERANCE_PCT + ROUNDING_PCT;
const fits = (volts: number, c: Candidate): boolean =>
  isPortable(volts, c) || !['outside', 'not-stated'].includes(rangeOf(volts, c));

function rangeOf(volts: number, { system, voltageIs, nominalV }: Candidate): Matched['range'] {
  // Limits are printed phase to phase, rounded to 1 V or 10 V; scaling a phase voltage must not trip over the rounding.
  const isLine = voltageIs === 'phase-to-phase';
  const lineV = isLine ? volts : volts * (system.phaseToPhaseV / nominalV);
  const slackV = isLine ? 0 : system.phaseToPhaseV > 1000 ? 5 : 0.5;
  const inside = (r: readonly [number, number] | null) =>
    r !== null && lineV >= r[0] - slackV && lineV <= r[1] + slackV;
  if (inside(system.rangeA)) return 'A';
  if (inside(system.rangeB)) return 'B';
  if (inside(system.supply)) return 'supply';
  const isStated = system.rangeA !== null || system.rangeB !== null || system.supply !== null;
  return isStated || (system.highestV !== null && lineV > system.highestV) ? 'outside' : 'not-stated';
}

function refuse(volts: number, best: Candidate, withinPct: number): Unmatched {
  if (volts < NOTHING_PU * best.nominalV) {
    return unmatched(
      best.system,
      'no-voltage-read',
      `${volts} V was read, next to nothing; that proves nothing about the absence of voltage`,
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
