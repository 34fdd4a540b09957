/** A vote among angles of which some are wrong. */
import { circularMean, separation } from './angle';

const SUPPORT_DEG = 20;
/** From here on one more than a majority is asked for. */
export const STRICT_FROM = 5;

/** Supporters that a vote of `count` offsets needs: a majority, and from five on one more. */
export const votesNeeded = (count: number): number => Math.floor(count / 2) + (count >= STRICT_FROM ? 2 : 1);

export interface Vote {
  readonly offsetDeg: number;
  /** indexes of the offsets that lie within the support of the best one */
  readonly supporters: readonly number[];
}

/**
 * The best-supported offset: the one with most others within `supportDeg`, then the circular mean of it and its supporters.
 * undefined when fewer than `votesNeeded` support it.
 * @example voteOffset([10, 12, 130]).offsetDeg // 11
 * @example voteOffset([10, 130, -110]) // undefined
 */
export function voteOffset(offsetsDeg: readonly number[], supportDeg = SUPPORT_DEG): Vote | undefined {
  let supporters: readonly number[] = [];
  for (const candidate of offsetsDeg) {
    const near = offsetsDeg.flatMap((o, i) => (separation(o, candidate) <= supportDeg ? [i] : []));
    if (near.length > supporters.length) supporters = near;
  }
  if (supporters.length < votesNeeded(offsetsDeg.length)) return undefined;
  return { offsetDeg: circularMean(supporters.map((i) => offsetsDeg[i]!)), supporters };
}
