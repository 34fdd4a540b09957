/** Which phase is this conductor? Likelihood over phases and connections, with refusal when in doubt. */
import { type ConductorAngle, type ConductorContext, conductorAngle } from './conductor-angle';
import type { Frame } from './frame';
import { identificationRecord, restsOn, type Statement } from './identification-record';
import { judge } from './identify-judge';
import { voltageWeights } from './magnitude';
import type { Terminal } from './network';
import { type PhaseClasses, phaseClasses } from './phase-classes';
import type { Candidate, Identification, Reason } from './records';
import { readingOf, type Sample } from './sample';
import { type Sequence, slotOf } from './windings';

export interface IdentifyContext extends ConductorContext {
  /** the record of the terminal: connection and path help; the recorded phase is compared, never assumed */
  readonly terminal?: Terminal | undefined;
  readonly site?: string | undefined;
  /** sequence at the windings of the path, when it was measured */
  readonly sequence?: Sequence | undefined;
  /** what speaks against the reference now, such as findings of its watch; any of them means not proven */
  readonly referenceReasons?: readonly Reason[] | undefined;
}

/**
 * Which phase one conductor is, from its readings against a reference of the frame.
 * Verdicts: `confirmed` and `identified` by the probabilities of the frame, else `not-proven` with reasons.
 * The slot (expected angle as a multiple of 30 degrees) is told whenever there is an angle.
 * @param readings of one terminal, at least one
 * @throws RangeError when there is none, or they are of several terminals
 */
export function identify(readings: readonly Sample[], frame: Frame, context: IdentifyContext = {}): Identification {
  const terminal = terminalOf(readings);
  const found = conductorAngle(readings, frame, context, 'absolutePhase');
  const subject = {
    terminal,
    site: context.site,
    recordedPhase: context.terminal?.recordedPhase,
    rests: restsOn(readings.map(readingOf)),
  };
  const statement = found.ok ? judged(found.conductor, frame, context) : { ...NOTHING, reasons: found.reasons };
  return identificationRecord(subject, statement, frame);
}

/** A statement with no angle behind it. */
export const NOTHING = Object.freeze({
  verdict: 'not-proven' as const,
  phase: null,
  connection: null,
  slot: null,
  probability: 0,
  candidates: [],
  conductor: undefined,
  expectedDeg: null,
  sdDeg: null,
});

function judged(conductor: ConductorAngle, frame: Frame, context: IdentifyContext): Statement {
  const classes = classesFor(frame, context, conductor.reference);
  const sdDeg = Math.hypot(conductor.readingSdDeg, conductor.commonSdDeg, frame.unbalanceSdDeg);
  const weights =
    classes.spacingDeg === 30 ? voltageWeights(conductor.readings, context.terminal, classes.connection) : undefined;
  const j = judge(classes, conductor.angleDeg, sdDeg, frame, weights, context.referenceReasons ?? []);
  const named = j.verdict !== 'not-proven';
  return {
    verdict: j.verdict,
    phase: named ? frame.phases[j.phase]! : null,
    connection: j.connectionProven ? classes.connection[j.best]! : null,
    slot: named ? classes.slot[j.best]! : slotOf(conductor.angleDeg),
    probability: j.probability,
    candidates: candidatesOf(j.posterior, classes, frame),
    conductor,
    expectedDeg: classes.pathKnown ? classes.expectedDeg[j.best]! : null,
    sdDeg,
    reasons: j.reasons,
  };
}

function terminalOf(readings: readonly Sample[]): string {
  const terminal = readings.length > 0 ? readingOf(readings[0]!).terminal : undefined;
  if (terminal === undefined || readings.some((r) => readingOf(r).terminal !== terminal)) {
    const got = [...new Set(readings.map((r) => readingOf(r).terminal))].join(', ');
    throw new RangeError(`identify: readings of exactly one terminal are needed, got ${got || 'none'}`);
  }
  return terminal;
}

const tables = new WeakMap<Frame, Map<string, PhaseClasses>>();

/** The class table for a terminal; built once for each frame, connection, path and sequence. */
export function classesFor(frame: Frame, context: IdentifyContext, referenceId: string): PhaseClasses {
  const reference =
    context.reference?.id === referenceId ? context.reference : frame.references.find((r) => r.id === referenceId);
  const path = context.terminal?.path ?? reference?.path;
  const connection = context.terminal?.connection;
  const key = `${connection ?? ''}|${path?.join(' ') ?? '-'}|${context.sequence ?? ''}`;
  const ofFrame = tables.get(frame) ?? new Map<string, PhaseClasses>();
  tables.set(frame, ofFrame);
  const classes = ofFrame.get(key) ?? phaseClasses(frame, { connection, path, sequence: context.sequence });
  ofFrame.set(key, classes);
  return classes;
}

function candidatesOf(posterior: Float64Array, classes: PhaseClasses, frame: Frame): Candidate[] {
  const candidates: Candidate[] = [];
  for (let c = 0; c < classes.count; c++) {
    const phase = frame.phases[classes.phase[c]!]!;
    candidates.push({ phase, connection: classes.connection[c]!, slot: classes.slot[c]!, probability: posterior[c]! });
  }
  return candidates;
}
