/** How fast one angle turns against another, from a stream of differences: least squares over the last ten to twenty seconds. */
import { difference } from './angle';

/** Sums of one block of the stream, times from its origin in seconds, differences unwrapped, weights 1/sd^2. */
interface Sums {
  readonly w: number;
  readonly wt: number;
  readonly wtt: number;
  readonly wd: number;
  readonly wtd: number;
}

export interface Slope {
  readonly originUs: number;
  readonly current: Sums;
  readonly previous: Sums;
  /** when the current block began */
  readonly blockUs: number;
  readonly lastUs: number;
  /** unwrapped */
  readonly lastDeg: number;
  readonly lastSdDeg: number;
  readonly count: number;
}

const NONE: Sums = Object.freeze({ w: 0, wt: 0, wtt: 0, wd: 0, wtd: 0 });
const BLOCK_US = 10e6;
/** After this silence an unwrapped angle means nothing any more. */
const SILENCE_US = 20e6;

export const emptySlope = (atUs: number): Slope => ({
  originUs: atUs,
  current: NONE,
  previous: NONE,
  blockUs: atUs,
  lastUs: atUs,
  lastDeg: 0,
  lastSdDeg: 0,
  count: 0,
});

export interface Difference {
  readonly atUs: number;
  readonly differenceDeg: number;
  readonly sdDeg: number;
}

export interface Added {
  readonly slope: Slope;
  /** the step, when this difference does not continue the ones before it; the slope then starts anew */
  readonly stepDeg: number | undefined;
}

/** Takes one more difference; one that is not newer than the last is ignored. */
export function addDifference(
  slope: Slope,
  seen: Difference,
  limits: { readonly alarmSd: number; readonly stepDeg: number },
): Added {
  if (slope.count > 0 && seen.atUs <= slope.lastUs) return { slope, stepDeg: undefined };
  if (slope.count === 0 || seen.atUs - slope.lastUs > SILENCE_US) return { slope: begun(seen), stepDeg: undefined };
  const { slopeDegS, sdDegS } = slopeOf(slope);
  const foreseen = slope.lastDeg + (Number.isFinite(sdDegS) ? slopeDegS * seconds(seen.atUs - slope.lastUs) : 0);
  const jump = difference(seen.differenceDeg, foreseen);
  const foreseenSd = Number.isFinite(sdDegS) ? sdDegS * seconds(seen.atUs - slope.lastUs) : 0;
  const limit = Math.max(limits.stepDeg, limits.alarmSd * Math.hypot(seen.sdDeg, slope.lastSdDeg, foreseenSd));
  if (Math.abs(jump) > limit) return { slope: begun(seen), stepDeg: jump };
  return { slope: added(slope, seen, foreseen + jump), stepDeg: undefined };
}

const seconds = (us: number): number => us / 1e6;

function begun(seen: Difference): Slope {
  const empty = emptySlope(seen.atUs);
  return added({ ...empty, lastDeg: seen.differenceDeg }, seen, seen.differenceDeg);
}

function added(slope: Slope, seen: Difference, deg: number): Slope {
  const turn = seen.atUs - slope.blockUs >= BLOCK_US;
  const originUs = turn ? slope.blockUs : slope.originUs;
  const t = seconds(seen.atUs - originUs);
  const w = 1 / (seen.sdDeg * seen.sdDeg);
  const base = turn ? NONE : slope.current;
  return {
    originUs,
    current: {
      w: base.w + w,
      wt: base.wt + w * t,
      wtt: base.wtt + w * t * t,
      wd: base.wd + w * deg,
      wtd: base.wtd + w * t * deg,
    },
    previous: turn ? moved(slope.current, seconds(originUs - slope.originUs)) : slope.previous,
    blockUs: turn ? seen.atUs : slope.blockUs,
    lastUs: seen.atUs,
    lastDeg: deg,
    lastSdDeg: seen.sdDeg,
    count: slope.count + 1,
  };
}

/** The sums seen from an origin that is later by some seconds: times stay small, so nothing cancels after days. */
function moved(s: Sums, byS: number): Sums {
  return {
    w: s.w,
    wt: s.wt - byS * s.w,
    wtt: s.wtt - 2 * byS * s.wt + byS * byS * s.w,
    wd: s.wd,
    wtd: s.wtd - byS * s.wd,
  };
}

/**
 * Slope in degrees a second and its standard uncertainty 1/sqrt(sum w (t - mean)^2); the latter infinite until there are three differences.
 */
export function slopeOf(slope: Slope): { readonly slopeDegS: number; readonly sdDegS: number } {
  const [a, b] = [slope.previous, slope.current];
  const w = a.w + b.w;
  const wt = a.wt + b.wt;
  const wd = a.wd + b.wd;
  const spread = a.wtt + b.wtt - (wt * wt) / w;
  if (slope.count < 3 || !(spread > 0)) return { slopeDegS: 0, sdDegS: Number.POSITIVE_INFINITY };
  return { slopeDegS: (a.wtd + b.wtd - (wt * wd) / w) / spread, sdDegS: 1 / Math.sqrt(spread) };
}
