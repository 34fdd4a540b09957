/** The measures of facing terminals: angle between them and voltage across the gap. */

import { difference } from './angle';
import { compareInstants } from './instant';
import { pairGap } from './open-point-gap';
import type { Sides } from './open-point-grounds';
import type { CompareOptions } from './open-point-options';
import type { PairMeasure, Reading, Reason } from './records';
import type { VisitAngle } from './visit-angles';

/** @param bounded false: differences as read, without uncertainty and gap, since the clocks may be wrong by anything */
export function measuredPairs(
  sides: Sides,
  options: CompareOptions,
  bounded: boolean,
): { readonly pairs: PairMeasure[]; readonly reasons: Reason[] } {
  const reasons: Reason[] = [];
  const pairs = sides.left.map((left, k) => {
    const right = sides.right[k]!;
    const differenceDeg = difference(left.angleDeg, right.angleDeg);
    const sdDeg = Math.hypot(left.sdDeg, right.sdDeg, sides.clocksSdDeg);
    const relativeSd = (options.voltageSdPct ?? 2) / 100;
    const gap = pairGap(sideOf(left, options), sideOf(right, options), differenceDeg, sdDeg, relativeSd);
    if ('reason' in gap) reasons.push(gap.reason);
    const { gapV, gapUpperV } = bounded && !('reason' in gap) ? gap : NO_GAP;
    const named = { left: left.terminal, right: right.terminal };
    return { ...named, differenceDeg, sdDeg: bounded ? sdDeg : null, gapV, gapUpperV };
  });
  return { pairs, reasons };
}

const NO_GAP = { gapV: null, gapUpperV: null };

/** The newest reading of a terminal that has a voltage, or else its newest. */
function sideOf({ terminal, readings }: VisitAngle, options: CompareOptions) {
  const newestFirst = [...readings].sort((a, b) => compareInstants(b.takenAt, a.takenAt));
  const reading: Reading = newestFirst.find((r) => r.voltageV !== undefined) ?? newestFirst[0]!;
  return { reading, terminal: options.terminals?.get(terminal) };
}
