/** Finds, among the readings of a common conductor, those that bracket the readings of an open point. */
import type { OpenPoint } from './network';
import type { CommonConductor } from './open-point-proof';
import { takenAtUs } from './reading';
import type { ReadingSet } from './reading-sets';
import type { ReadingWindow } from './reading-window';
import type { Reading } from './records';

/** The readings of a common conductor by instrument: before and after, left and right. */
export type CommonReadings = {
  readonly before: readonly [left: Reading, right: Reading];
  readonly after: readonly [left: Reading, right: Reading];
} & CommonConductor;

/**
 * The last readings of the common conductor by the two instruments before the first reading of the open point, and the first
 * after the last one; undefined when one is missing or a side was read by several instruments or an unnamed one.
 * @param common readings of the common conductor, oldest first
 */
export function commonReadings(
  common: readonly Reading[],
  left: readonly Reading[],
  right: readonly Reading[],
): CommonReadings | undefined {
  const instants = [...left, ...right].map(takenAtUs);
  const [firstUs, lastUs] = [Math.min(...instants), Math.max(...instants)];
  const before = pair(left, right, (is) => common.findLast((r) => is(r) && takenAtUs(r) <= firstUs));
  const after = pair(left, right, (is) => common.find((r) => is(r) && takenAtUs(r) >= lastUs));
  return before && after ? { before, after } : undefined;
}

/**
 * The same for a set of an open point that names a common conductor, as it was known at the instant of the set.
 * @param windowS how long before the first reading of the set the common conductor may have been read, seconds
 */
export function commonReadingsOf(
  point: OpenPoint,
  set: ReadingSet,
  window: ReadingWindow,
  windowS: number,
): CommonReadings | undefined {
  if (point.proofTerminal === undefined) return undefined;
  const of = (side: readonly string[]) =>
    set.conductors.filter((c) => side.includes(c.terminal)).flatMap((c) => c.readings);
  const [left, right] = [of(point.left), of(point.right)];
  const firstUs = Math.min(...[...left, ...right].map(takenAtUs));
  const known = window.between(point.proofTerminal, firstUs - windowS * 1e6, set.atUs);
  return commonReadings(
    known.map((p) => p.reading),
    left,
    right,
  );
}

function pair(
  left: readonly Reading[],
  right: readonly Reading[],
  find: (is: (r: Reading) => boolean) => Reading | undefined,
): readonly [Reading, Reading] | undefined {
  const [l, r] = [left, right].map((side) => {
    const id = oneInstrument(side);
    return id === undefined
      ? undefined
      : find((reading) => reading.instrument?.id === id && reading.angleDeg !== undefined);
  });
  return l && r ? [l, r] : undefined;
}

function oneInstrument(readings: readonly Reading[]): string | undefined {
  const ids = new Set(readings.map((r) => r.instrument?.id));
  return ids.size === 1 ? [...ids][0] : undefined;
}
