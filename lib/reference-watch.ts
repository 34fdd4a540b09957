/**
 * Is a reference still synchronous with the network? An islanded or battery-fed station turns freely, and a reading against it is
 * worth nothing however steady it looks. State in, observation in; state and findings out.
 */
import { difference } from './angle';
import { apart, movedSpot, silent, stepped, turning, type WatchFinding } from './reference-findings';
import { addDifference, emptySlope, type Slope, slopeOf } from './reference-slope';

export interface WatchSettings {
  /** slope from which a reference may be called not synchronous, degrees a second; 0.2 when left out */
  readonly slopeDegS?: number;
  /** standard uncertainties that a deviation must exceed; 5 when left out */
  readonly alarmSd?: number;
  /** least step that is told, degrees; 5 when left out */
  readonly stepDeg?: number;
  /** least time between two spot readings of one conductor that are held together, seconds; 30 when left out */
  readonly spotApartS?: number;
  /** frequencies of field and reference may differ by this, Hz; 0.01 when left out */
  readonly frequencyHz?: number;
  /** silence after which the reference is stale, seconds; 2 when left out */
  readonly maxAgeS?: number;
}

export type WatchObservation =
  /** reference minus another station or field stream at one instant */
  | {
      readonly kind: 'stream';
      readonly other: string;
      readonly atUs: number;
      readonly differenceDeg: number;
      readonly sdDeg: number;
    }
  /** one reading at a conductor, minus the reference */
  | {
      readonly kind: 'spot';
      readonly terminal: string;
      readonly atUs: number;
      readonly relativeDeg: number;
      readonly sdDeg: number;
    }
  /** frequencies over the same second */
  | { readonly kind: 'frequency'; readonly atUs: number; readonly referenceHz: number; readonly fieldHz: number }
  /** a reading of the reference came */
  | { readonly kind: 'heard'; readonly atUs: number }
  /** time has passed */
  | { readonly kind: 'time'; readonly atUs: number };

interface Spot {
  readonly atUs: number;
  readonly relativeDeg: number;
  readonly sdDeg: number;
}

export interface WatchState {
  readonly slopes: ReadonlyMap<string, Slope>;
  readonly spots: ReadonlyMap<string, Spot>;
  readonly lastHeardUs: number | null;
}

export interface Watched {
  readonly state: WatchState;
  /** what speaks against the reference in the light of this observation; empty when nothing does */
  readonly findings: readonly WatchFinding[];
}

/** Conductors and streams remembered; the longest unseen is forgotten first. */
const REMEMBERED = 256;

export const newWatch = (): WatchState => ({ slopes: new Map(), spots: new Map(), lastHeardUs: null });

/** Takes one observation. Out-of-order observations of a stream are ignored. */
export function watchReference(state: WatchState, seen: WatchObservation, settings: WatchSettings = {}): Watched {
  switch (seen.kind) {
    case 'stream':
      return stream(state, seen, settings);
    case 'spot':
      return spot(state, seen, settings);
    case 'frequency':
      return { state, findings: frequencies(seen, settings) };
    case 'heard':
      return { state: { ...state, lastHeardUs: Math.max(seen.atUs, state.lastHeardUs ?? seen.atUs) }, findings: [] };
    case 'time':
      return { state, findings: staleness(state, seen.atUs, settings) };
  }
}

type Of<K extends WatchObservation['kind']> = Extract<WatchObservation, { kind: K }>;

function stream(state: WatchState, seen: Of<'stream'>, settings: WatchSettings): Watched {
  const before = state.slopes.get(seen.other) ?? emptySlope(seen.atUs);
  const limits = { alarmSd: settings.alarmSd ?? 5, stepDeg: settings.stepDeg ?? 5 };
  const { slope, stepDeg } = addDifference(before, seen, limits);
  const next = { ...state, slopes: remember(state.slopes, seen.other, slope) };
  if (stepDeg !== undefined) return { state: next, findings: [stepped(seen.other, stepDeg, limits.stepDeg)] };
  const { slopeDegS, sdDegS } = slopeOf(slope);
  const limit = Math.max(settings.slopeDegS ?? 0.2, limits.alarmSd * sdDegS);
  return { state: next, findings: Math.abs(slopeDegS) > limit ? [turning(seen.other, slopeDegS, limit)] : [] };
}

function spot(state: WatchState, seen: Of<'spot'>, settings: WatchSettings): Watched {
  const before = state.spots.get(seen.terminal);
  const apartS = before ? (seen.atUs - before.atUs) / 1e6 : 0;
  const enough = before !== undefined && apartS >= (settings.spotApartS ?? 30);
  // The older of a close pair is kept, so that readings a second apart come to be held against one from half a minute ago.
  const kept = before && !enough ? before : { atUs: seen.atUs, relativeDeg: seen.relativeDeg, sdDeg: seen.sdDeg };
  const next = { ...state, spots: remember(state.spots, seen.terminal, kept) };
  if (!enough) return { state: next, findings: [] };
  const moved = difference(seen.relativeDeg, before.relativeDeg);
  const limit = (settings.alarmSd ?? 5) * Math.hypot(seen.sdDeg, before.sdDeg);
  return { state: next, findings: Math.abs(moved) > limit ? [movedSpot(seen.terminal, moved, apartS, limit)] : [] };
}

function frequencies(seen: Of<'frequency'>, settings: WatchSettings): WatchFinding[] {
  const limit = settings.frequencyHz ?? 0.01;
  return Math.abs(seen.referenceHz - seen.fieldHz) > limit ? [apart(seen.referenceHz, seen.fieldHz, limit)] : [];
}

function staleness(state: WatchState, nowUs: number, settings: WatchSettings): WatchFinding[] {
  const limit = settings.maxAgeS ?? 2;
  if (state.lastHeardUs === null)
    return [silent('the reference has not been heard yet', Number.POSITIVE_INFINITY, limit)];
  const value = (nowUs - state.lastHeardUs) / 1e6;
  return value > limit ? [silent(`the reference was last heard ${value.toFixed(1)} s ago`, value, limit)] : [];
}

function remember<T>(map: ReadonlyMap<string, T>, key: string, value: T): Map<string, T> {
  const next = new Map(map);
  next.delete(key);
  next.set(key, value);
  if (next.size > REMEMBERED) next.delete(next.keys().next().value!);
  return next;
}
