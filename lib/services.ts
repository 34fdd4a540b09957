/** Which kind of low-voltage service a few voltages, and angles where they are known, belong to. */
import { circularMean, difference } from './angle';
import { minus } from './phasor';
import type { Reason } from './records';
import {
  MAY_SHARE,
  NEUTRAL_UNKNOWN,
  NO_NEUTRAL,
  NO_VOLTAGE,
  NONE_FITS,
  NOT_NUMBERS,
  OPEN_DELTA,
  SEVERAL,
  SHARED,
  TO_NEUTRAL,
  WRONG_NUMBER,
} from './service-reasons';
import { ARRANGEMENTS, type Arrangement, SERVICE_TYPES, type ServiceType } from './service-types';

export interface ServiceReadings {
  /** every leg that is not the neutral, each read to the neutral: two or three */
  readonly legs?: readonly { readonly voltageV: number; readonly angleDeg?: number }[];
  /** between legs: 1 to 2, then 2 to 3, then 3 to 1 */
  readonly lines?: readonly { readonly voltageV: number }[];
  /** whether there is a neutral conductor; left out where that is not known */
  readonly neutral?: boolean;
}

export interface DecidedService {
  readonly decided: true;
  readonly service: ServiceType;
  /** place of the high leg among the legs, null where there is none or no legs were read */
  readonly highLeg: number | null;
  /** all voltages together, from nominal, percent */
  readonly deviationPct: number;
  /** farthest single voltage from the service at that deviation, percent of it or of a leg, whichever is larger */
  readonly worstVoltagePct: number;
  /** farthest angle from its place, degrees; null where not all angles are known */
  readonly worstAngleDeg: number | null;
  /** what these readings cannot tell apart */
  readonly reasons: readonly Reason[];
}

export interface UndecidedService {
  readonly decided: false;
  /** names of the services that fit */
  readonly candidates: readonly string[];
  readonly reasons: readonly Reason[];
}

/** A service may be this far from nominal (EN 50160; ANSI C84.1 Range B is narrower), percent. */
const FROM_NOMINAL_PCT = 10;
/** Unbalance and instrument: a single voltage from the service as a whole, percent. Services differ by 15 % and more. */
const VOLTAGE_PCT = 5;
/** Services differ by 60 degrees and more. */
const ANGLE_DEG = 15;
/** Below this share of the largest voltage nothing was read. */
const NOTHING_PU = 0.1;
const LEAST_V = 12;

/**
 * The one kind of service that fits the readings, or why that is not decided. Magnitudes to neutral alone never decide it: legs
 * that share a phase look the same. Angles, or voltages between the legs, settle it.
 * @example serviceType({ legs: [{ voltageV: 121 }, { voltageV: 119 }], lines: [{ voltageV: 240 }] }).service.name // '120/240 single-phase'
 * @example serviceType({ legs: [{ voltageV: 121 }, { voltageV: 119 }], lines: [{ voltageV: 208 }] }).service.name // 'two legs of 208Y/120'
 * @example serviceType({ legs: [{ voltageV: 121 }, { voltageV: 119 }, { voltageV: 120 }] }).decided // false
 */
export function serviceType(readings: ServiceReadings): DecidedService | UndecidedService {
  const unusable = unusableReason(readings);
  if (unusable) return undecided([], unusable);
  const fits = possible(readings).flatMap((a) => fitOf(a, readings) ?? []);
  const names = [...new Set(fits.flatMap((f) => f.service?.name ?? []))];
  const best = fits.sort((a, b) => a.worstVoltagePct - b.worstVoltagePct)[0];
  if (!best) return undecided([], NONE_FITS);
  if (names.length === 0) return undecided([], SHARED);
  if (fits.some((f) => f.service === null)) return undecided(names, MAY_SHARE);
  if (names.length > 1) return undecided(names, readings.legs?.length ? SEVERAL : NEUTRAL_UNKNOWN);
  return decide(best as Fit & { service: ServiceType }, readings);
}

function unusableReason({ legs = [], lines = [], neutral }: ServiceReadings): Reason | undefined {
  const volts = [...legs, ...lines].map((r) => r.voltageV);
  const angles = legs.map((l) => l.angleDeg ?? 0);
  if (![...volts, ...angles].every(Number.isFinite) || volts.some((v) => v < 0)) return NOT_NUMBERS;
  if (legs.length > 0 && neutral === false) return NO_NEUTRAL;
  const isPair = legs.length === 2 && lines.length <= 1;
  const isThree = legs.length === 3 && lines.length <= 3;
  if (!isPair && !isThree && !(legs.length === 0 && lines.length === 3)) return WRONG_NUMBER;
  const least = Math.max(LEAST_V, NOTHING_PU * Math.max(...volts));
  return legs.some((l) => l.voltageV < least) || Math.max(...volts) < LEAST_V ? NO_VOLTAGE : undefined;
}

/** Arrangements with the right number of legs; without legs, the services by their line voltage alone. */
function possible({ legs = [], neutral }: ServiceReadings): readonly Arrangement[] {
  if (legs.length > 0) return ARRANGEMENTS.filter((a) => a.legs.length === legs.length);
  return SERVICE_TYPES.filter((s) => s.kind !== 'split-phase' && s.kind !== 'two-wye-legs')
    .filter((s) => neutral === undefined || neutral === (s.legV !== null))
    .map((service) => ({ service, legs: [], highLeg: null }));
}

type Fit = Pick<DecidedService, 'highLeg' | 'deviationPct' | 'worstVoltagePct' | 'worstAngleDeg'> & {
  readonly service: ServiceType | null;
};

function fitOf(a: Arrangement, { legs = [], lines = [] }: ServiceReadings): Fit | undefined {
  const lineV = (i: number) =>
    a.legs.length === 0 ? a.service!.lineV : minus(a.legs[i]!, a.legs[(i + 1) % a.legs.length]!).magnitude;
  const expected = [...a.legs.map((l) => l.magnitude), ...lines.map((_, i) => lineV(i))];
  const measured = [...legs, ...lines].map((r) => r.voltageV);
  const scale = dot(measured, expected) / dot(expected, expected);
  const unit = a.legs[0]?.magnitude ?? 0;
  const worstVoltagePct = Math.max(
    ...measured.map((v, i) => (100 * Math.abs(v - scale * expected[i]!)) / (scale * Math.max(expected[i]!, unit))),
  );
  const worstAngleDeg = angleMisfit(a, legs);
  const deviationPct = 100 * (scale - 1);
  if (Math.abs(deviationPct) > FROM_NOMINAL_PCT || worstVoltagePct > VOLTAGE_PCT) return undefined;
  if (worstAngleDeg !== null && !(worstAngleDeg <= ANGLE_DEG)) return undefined;
  return { service: a.service, highLeg: a.highLeg, deviationPct, worstVoltagePct, worstAngleDeg };
}

const dot = (x: readonly number[], y: readonly number[]): number => x.reduce((sum, v, i) => sum + v * y[i]!, 0);

/** Largest deviation of the angles from the arrangement, turned and, where that fits better, seen in reversed sequence. */
function angleMisfit(a: Arrangement, legs: NonNullable<ServiceReadings['legs']>): number | null {
  if (legs.length === 0 || legs.some((l) => l.angleDeg === undefined)) return null;
  const misfits = [1, -1].map((sense) => {
    const turned = legs.map((l, i) => difference(l.angleDeg!, sense * a.legs[i]!.angleDeg));
    const mean = circularMean(turned);
    return Number.isNaN(mean) ? 180 : Math.max(...turned.map((t) => Math.abs(difference(t, mean))));
  });
  return Math.min(...misfits);
}

function decide({ service, ...fit }: Fit & { service: ServiceType }, readings: ServiceReadings): DecidedService {
  const reasons: Reason[] = [];
  if (service.kind === 'three-wire' || service.kind === 'high-leg-delta') reasons.push(OPEN_DELTA);
  if (service.kind === 'wye' && readings.neutral !== true) reasons.push(TO_NEUTRAL);
  return Object.freeze({ decided: true, service, ...fit, reasons: Object.freeze(reasons) });
}

const undecided = (candidates: readonly string[], reason: Reason): UndecidedService =>
  Object.freeze({ decided: false, candidates: Object.freeze(candidates), reasons: Object.freeze([reason]) });
