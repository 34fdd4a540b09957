/** The phases and connections a conductor may have, and the angle each would show: what an identification chooses among. */
import { difference, wrap180 } from './angle';
import type { Frame, Reference } from './frame';
import type { Connection } from './records';
import { connectionAngle, parseVectorGroup, pathShiftDeg, type Sequence, slotOf } from './windings';

/** Prior of a reversed sequence at a winding that nobody has looked at. It can only take certainty away, never give it. */
const MIRRORED_PRIOR = 0.01;

/** Arrays over the classes, in step: read-only to everyone but the builder. */
export interface PhaseClasses {
  readonly count: number;
  /** angle each class would show, the zero phase reading zero, degrees lead positive */
  readonly expectedDeg: Float64Array;
  readonly prior: Float64Array;
  /** index into the phases of the frame */
  readonly phase: Uint8Array;
  readonly connection: readonly Connection[];
  /** 1: the class supposes that the sequence at a winding of the path is reversed */
  readonly mirrored: Uint8Array;
  /** slot of the expected angle, 0 to 11 */
  readonly slot: Uint8Array;
  /** smallest angle between two classes, the mirrored ones left out */
  readonly spacingDeg: 30 | 60 | 120;
  /** false: an unknown vector group may turn every class by any multiple of 30 degrees */
  readonly pathKnown: boolean;
}

export interface ClassSettings {
  /** connection in the record: a prior, not a certainty */
  readonly connection?: Connection | undefined;
  /** vector groups between reference and terminal; left out: not stated, taken as none only where one connection may occur */
  readonly path?: readonly string[] | undefined;
  /** sequence at the windings, when it was measured; left out: that of the frame, with a doubt */
  readonly sequence?: Sequence | undefined;
}

/** The classes of a frame for one terminal. */
export function phaseClasses(frame: Frame, settings: ClassSettings = {}): PhaseClasses {
  const { connection, path, sequence } = settings;
  const connections = [...new Set(connection ? [...frame.connections, connection] : frame.connections)];
  const weights = connectionPrior(connections, connection);
  const spacingDeg = connectionSpacing(connections);
  const pathKnown = pathIsKnown(path, spacingDeg);
  const groups = pathKnown ? (path ?? []) : [];
  const turns = pathTurns(groups, sequence);
  const zeroDeg = phaseAngleDeg(frame, frame.zeroPhase);
  const rows = turns.flatMap((turn) =>
    connections.flatMap((c, i) =>
      [0, 1, 2].map((phase) => ({
        phase,
        connection: c,
        mirrored: turn.mirrored ? 1 : 0,
        prior: (turn.prior * weights[i]!) / 3,
        expectedDeg: wrap180(connectionAngle(phase, c) + turn.shiftDeg - zeroDeg),
      })),
    ),
  );
  return Object.freeze({
    count: rows.length,
    expectedDeg: Float64Array.from(rows, (r) => r.expectedDeg),
    prior: Float64Array.from(rows, (r) => r.prior),
    phase: Uint8Array.from(rows, (r) => r.phase),
    connection: rows.map((r) => r.connection),
    mirrored: Uint8Array.from(rows, (r) => r.mirrored),
    slot: Uint8Array.from(rows, (r) => slotOf(r.expectedDeg)),
    spacingDeg,
    pathKnown,
  });
}

/** Angle of a phase's voltage to neutral, phase index 0 at zero. */
export const phaseAngleDeg = (frame: Frame, label: string): number =>
  connectionAngle(frame.phases.indexOf(label), 'phase-neutral');

/**
 * What the zero phase leads the reference's own voltage by, so that (reading minus reference) plus this puts the zero phase at zero.
 */
export function referenceAngleDeg(frame: Frame, reference: Reference): number {
  const index = frame.phases.indexOf(reference.phase);
  return difference(connectionAngle(index, reference.connection), phaseAngleDeg(frame, frame.zeroPhase));
}

/**
 * Whether the turn of the transformers on the way is known. A path that was not stated counts as none only where one connection
 * may occur: then an overlooked 30 degrees fits no phase. With polarity in doubt it would look like another phase reversed.
 */
export function pathIsKnown(path: readonly string[] | undefined, spacingDeg: number): boolean {
  return path ? path.every((group) => parseVectorGroup(group).ok) : spacingDeg === 120;
}

interface Turn {
  readonly shiftDeg: number;
  readonly mirrored: boolean;
  readonly prior: number;
}

function pathTurns(groups: readonly string[], sequence: Sequence | undefined): Turn[] {
  const shiftDeg = pathShiftDeg(groups, sequence ?? 'ABC');
  const mirroredDeg = pathShiftDeg(groups, 'ACB');
  if (sequence || difference(shiftDeg, mirroredDeg) === 0) return [{ shiftDeg, mirrored: false, prior: 1 }];
  return [
    { shiftDeg, mirrored: false, prior: 1 - MIRRORED_PRIOR },
    { shiftDeg: mirroredDeg, mirrored: true, prior: MIRRORED_PRIOR },
  ];
}

export const isReversed = (c: Connection): boolean => c.endsWith('-reversed');
export const isPhaseToPhase = (c: Connection): boolean => c.startsWith('phase-phase');

/**
 * Prior of each connection: .93 as recorded, .02 reversed, .04 the other kind, .01 both; equal when none is recorded.
 */
export function connectionPrior(connections: readonly Connection[], recorded?: Connection): number[] {
  const weights = connections.map((c) => {
    if (!recorded) return 1;
    const turned = isReversed(c) !== isReversed(recorded);
    const otherKind = isPhaseToPhase(c) !== isPhaseToPhase(recorded);
    return otherKind ? (turned ? 0.01 : 0.04) : turned ? 0.02 : 0.93;
  });
  const total = weights.reduce((a, b) => a + b, 0);
  return weights.map((w) => w / total);
}

/** Smallest angle between two classes of these connections. */
export function connectionSpacing(connections: readonly Connection[]): 30 | 60 | 120 {
  if (connections.length === 1) return 120;
  return connections.every((c) => isPhaseToPhase(c) === isPhaseToPhase(connections[0]!)) ? 60 : 30;
}

/** Largest standard uncertainty, degrees, at which classes this close are still told apart. */
export function sdLimitDeg(spacingDeg: number, magnitudeUsed: boolean): number {
  if (spacingDeg === 120) return 15;
  return spacingDeg === 60 || magnitudeUsed ? 10 : 5;
}
