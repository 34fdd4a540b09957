/** The sequence of three conductors from their angles to each other: no reference and no absolute time needed. */
import type { Frame } from './frame';
import type { Reason } from './records';
import type { ConductorReadings } from './sample';
import { rotation } from './sequence';
import { angleErrorDeg } from './timing';
import { type VisitAngle, type VisitContext, visitAngles } from './visit-angles';
import { connectionAngle, type Sequence } from './windings';

export interface SiteSequence {
  readonly sequence: Sequence | null;
  /** of the more probable sequence; 0 when none was found */
  readonly probability: number;
  readonly reasons: readonly Reason[];
  /** the angles it was seen from, in the order given; empty when they do not compare */
  readonly angles: readonly VisitAngle[];
}

/**
 * The sequence of three conductors in viewing order: ABC when each lags the one before it by 120 degrees. Connections count
 * as recorded; transformers on the way turn all three alike. A clock error common to the three cannot change it.
 */
export function siteSequence(
  conductors: readonly ConductorReadings[],
  frame: Frame,
  context: VisitContext,
): SiteSequence {
  if (conductors.length !== 3) return undecided([]);
  const visit = visitAngles(conductors, frame, context);
  if (!visit.ok) return undecided(visit.reasons);
  const isOne = oneInstrument(visit.angles);
  if (!isOne && visit.angles.some((a) => a.clockErrorUs === null)) return undecided([TIME_BASES], visit.angles);
  const angles = visit.angles.map((a) => {
    const connection = context.terminals?.get(a.terminal)?.connection ?? frame.connections[0]!;
    return a.angleDeg - connectionAngle(0, connection);
  });
  const clockDeg = (a: VisitAngle) => (isOne ? 0 : angleErrorDeg(a.clockErrorUs ?? 0, frame.nominalHz));
  const sdDeg = Math.max(...visit.angles.map((a) => Math.hypot(a.sdDeg, a.sharedSdDeg, clockDeg(a))));
  const { sequence, probability, reasons } = rotation(angles, { sdDeg, unbalanceSdDeg: frame.unbalanceSdDeg });
  return { sequence, probability, reasons, angles: visit.angles };
}

/** All angles came from one instrument, whose clock error they share; several instruments add each its own. */
function oneInstrument(angles: readonly VisitAngle[]): boolean {
  const instruments = new Set(angles.flatMap((a) => a.readings.map((r) => r.instrument?.id)));
  return instruments.size === 1 && !instruments.has(undefined);
}

const undecided = (reasons: readonly Reason[], angles: readonly VisitAngle[] = []): SiteSequence => ({
  sequence: null,
  probability: 0,
  reasons,
  angles,
});

const TIME_BASES: Reason = Object.freeze({
  code: 'time-bases-differ',
  why: 'the quality of the time is not known and the readings do not name one common instrument',
  settle: 'read all three conductors with one instrument, and have it name itself',
});
