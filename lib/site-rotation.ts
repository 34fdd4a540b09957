/** The rotation of the three conductors of a site, as a record. */
import { difference } from './angle';
import { type SymmetricalComponents, symmetricalComponents } from './components';
import { derivedId } from './derived-id';
import { type Frame, stampOf } from './frame';
import { restsOn } from './identification-record';
import { sequenceOfLabels } from './lead-order';
import { type Phasor, phasor } from './phasor';
import type { Rotation } from './records';
import { type ConductorReadings, readingOf } from './sample';
import { siteSequence } from './site-sequence';
import { siteUnbalance, siteVoltages } from './site-voltages';
import type { VisitContext } from './visit-angles';
import type { Sequence } from './windings';

export const ROTATION_CAUTION =
  'Evidence from angle readings in the viewing order stated. It is not a test for absence of voltage and permits nothing: verify by the local rules, and check the rotation at the machine before it is driven.';

export interface SiteView {
  readonly site: string;
  /** e.g. left-to-right */
  readonly viewing: string;
}

/**
 * Rotation of three conductors given in viewing order. `ABC`: each conductor lags the one before it by 120 degrees.
 * Angles are told against the first conductor, lead positive. Components and unbalance are of the conductors in the order in which
 * they reach their crest, so that a site seen in reversed order does not look unbalanced; null when the sequence is not decided.
 * @throws RangeError when there are not three different terminals, each with readings
 */
export function siteRotation(
  view: SiteView,
  conductors: readonly ConductorReadings[],
  frame: Frame,
  context: VisitContext = {},
): Rotation {
  check(conductors);
  const { sequence, probability, reasons, angles } = siteSequence(conductors, frame, context);
  const anglesDeg = angles.map((a) => difference(a.angleDeg, angles[0]!.angleDeg));
  const { from, at } = restsOn(conductors.flatMap((c) => c.readings.map(readingOf)));
  // With the instant, so that the id begins with it; members in order: then the id costs half.
  const said = {
    at,
    frame: stampOf(frame),
    from,
    kind: 'rotation' as const,
    sequence,
    site: view.site,
    terminals: conductors.map((c) => c.terminal),
    verdict: sequence ? ('decided' as const) : ('not-proven' as const),
    viewing: view.viewing,
  };
  const recordedSequence = recorded(conductors, frame, context);
  return Object.freeze({
    ...said,
    id: derivedId('rotation', said),
    from: [...from, ...new Set(angles.flatMap((a) => a.referenceFrom))],
    caution: ROTATION_CAUTION,
    turns: sequence === null ? null : sequence === 'ABC' ? 'clockwise' : 'counter-clockwise',
    recordedSequence,
    agreesWithRecord: sequence && recordedSequence ? sequence === recordedSequence : null,
    anglesDeg,
    probability,
    ...measures(conductors, anglesDeg, sequence, frame, context),
    reasons: [...reasons],
  });
}

function check(conductors: readonly ConductorReadings[]): void {
  const names = new Set(conductors.map((c) => c.terminal));
  if (conductors.length !== 3 || names.size !== 3 || conductors.some((c) => c.readings.length === 0)) {
    const got = conductors.map((c) => `${c.terminal} (${c.readings.length})`).join(', ');
    throw new RangeError(`siteRotation: three different terminals with readings are needed, got ${got || 'none'}`);
  }
}

function recorded(conductors: readonly ConductorReadings[], frame: Frame, context: VisitContext): Sequence | null {
  const labels = conductors.map((c) => context.terminals?.get(c.terminal)?.recordedPhase ?? '');
  return sequenceOfLabels(labels, frame.phases) ?? null;
}

const NOT_MEASURED = { components: null, unbalance: null };

function measures(
  conductors: readonly ConductorReadings[],
  anglesDeg: readonly number[],
  sequence: Sequence | null,
  frame: Frame,
  context: VisitContext,
): Pick<Rotation, 'components' | 'unbalance'> {
  const connections = new Set(conductors.map((c) => context.terminals?.get(c.terminal)?.connection));
  if (sequence === null || connections.size > 1) return NOT_MEASURED;
  const voltages = siteVoltages(conductors, frame, context);
  const isPhase = voltages?.kind === 'phase';
  const order = sequence === 'ABC' ? ([0, 1, 2] as const) : ([0, 2, 1] as const);
  const phasors = order.map((k) => phasor(isPhase ? voltages.volts[k] : 1, anglesDeg[k]!)) as Three;
  return {
    components: told(symmetricalComponents(...phasors), isPhase),
    unbalance: voltages ? siteUnbalance(voltages, phasors) : null,
  };
}

type Three = [Phasor, Phasor, Phasor];

const told = ({ zero, positive, negative }: SymmetricalComponents, magnitudesMeasured: boolean) => ({
  zero: plain(zero),
  positive: plain(positive),
  negative: plain(negative),
  magnitudesMeasured,
});

const plain = ({ magnitude, angleDeg }: Phasor) => ({ magnitude, angleDeg });
