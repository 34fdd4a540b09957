/** What shows that the two instruments of a comparison tell the same time: an undeclared third of a cycle looks like another phase. */
import { separation } from './angle';
import { comparableAngles } from './comparable';
import { fitness } from './fitness';
import type { Frame } from './frame';
import { takenAtUs } from './reading';
import type { Comparison, Reading, Reason } from './records';
import { angleSample, readingOf, type Sample } from './sample';

/** One common conductor read by the left and by the right instrument, before and after the open point was read. */
export interface CommonConductor {
  readonly before: readonly [left: Sample, right: Sample];
  readonly after: readonly [left: Sample, right: Sample];
}

export interface ProofResult {
  /** the strongest proof there is; null when there is none */
  readonly proof: Comparison['proof'];
  /** the common conductor was read and contradicts: nothing may be concluded */
  readonly contradiction: Reason | undefined;
  /** why a common conductor that was read does not count */
  readonly reason: Reason | undefined;
}

/**
 * The proof of a common time:
 * `common-conductor`: before and after, both instruments agree on one conductor within 3 sqrt(2) sd; where one instrument read both
 * sides, it agrees before with after, within the load-flow drift of the frame, so that its time cannot have jumped in between;
 * `attested-time`: every reading says that its clock is locked and how wrong it may be;
 * `same-instrument`: attested time, and one instrument read both sides, so that a constant clock error cancels.
 */
export function proofOf(
  left: readonly Reading[],
  right: readonly Reading[],
  common: CommonConductor | undefined,
  frame: Frame,
  windowS: number,
): ProofResult {
  const held = common ? heldCommon(left, right, common, frame, windowS) : undefined;
  const contradiction = held?.code === 'common-conductor-disagrees' ? held : undefined;
  if (common && !held) return { proof: 'common-conductor', contradiction, reason: undefined };
  const all = [...left, ...right];
  if (!all.every((r) => attested(r, frame))) return { proof: null, contradiction, reason: held };
  const instruments = new Set(all.map((r) => r.instrument?.id));
  const oneInstrument = instruments.size === 1 && !instruments.has(undefined);
  return { proof: oneInstrument ? 'same-instrument' : 'attested-time', contradiction, reason: held };
}

const attested = ({ clock }: Reading, frame: Frame): boolean =>
  clock?.locked === true && clock.errorUs !== undefined && clock.errorUs <= frame.clockBudgetUs;

/** undefined when the common conductor proves a common time, else why not. */
function heldCommon(
  left: readonly Reading[],
  right: readonly Reading[],
  common: CommonConductor,
  frame: Frame,
  windowS: number,
): Reason | undefined {
  const pairs = [common.before, common.after];
  if (pairs.some(([l, r]) => readingOf(l).terminal !== readingOf(r).terminal)) return NOT_COMMON;
  const tied = (side: readonly Reading[], place: 0 | 1) => {
    const ids = new Set([...side, ...pairs.map((p) => readingOf(p[place]))].map((r) => r.instrument?.id));
    return ids.size === 1 && !ids.has(undefined);
  };
  if (!tied(left, 0) || !tied(right, 1)) return NOT_TIED;
  if (!enclose([...left, ...right], common, windowS)) return NOT_AROUND;
  const unfit = pairs.flat().find((s) => !fitness(readingOf(s), { frame }).uses.relative);
  if (unfit) return UNFIT;
  const [l, r] = common.before;
  if (instrumentOf(l) === instrumentOf(r)) return disagreement([l, common.after[0]], frame, BY_ONE);
  return pairs.map((p) => disagreement(p, frame, BY_TWO)).find((reason) => reason !== undefined);
}

const instrumentOf = (sample: Sample) => readingOf(sample).instrument?.id;

/** Who the readings of a pair come from; those of one instrument lie the whole visit apart, in which load flow moves the angle. */
interface Pair {
  readonly who: string;
  readonly drifts: boolean;
}
const BY_ONE: Pair = { who: 'before and after the open point, the instrument read', drifts: true };
const BY_TWO: Pair = { who: 'the two instruments read', drifts: false };

function enclose(readings: readonly Reading[], { before, after }: CommonConductor, windowS: number): boolean {
  const instants = readings.map(takenAtUs);
  const [first, last] = [Math.min(...instants), Math.max(...instants)];
  const within = (us: number) => us >= 0 && us <= windowS * 1e6;
  return (
    before.every((s) => within(first - takenAtUs(readingOf(s)))) &&
    after.every((s) => within(takenAtUs(readingOf(s)) - last))
  );
}

function disagreement(pair: readonly [Sample, Sample], frame: Frame, { who, drifts }: Pair): Reason | undefined {
  const samples = pair.map((s) => angleSample(s, frame)!);
  const compared = comparableAngles(samples, frame);
  if (!compared.ok) return compared.reasons[0];
  const [a, b] = compared.angles.angleDeg as [number, number];
  const driftDeg = drifts ? frame.driftSdDeg : 0;
  const limitDeg = 3 * Math.hypot(...samples.map((s) => s.sdDeg), ...compared.angles.carrySdDeg, driftDeg);
  const apartDeg = separation(a, b);
  if (apartDeg <= limitDeg) return undefined;
  return {
    code: 'common-conductor-disagrees',
    why: `${who} ${readingOf(pair[0]).terminal} ${apartDeg.toFixed(1)} degrees apart, ${limitDeg.toFixed(1)} are allowed`,
    settle: 'check the clock of each instrument, then read the common conductor and the open point again',
  };
}

const reason = (code: string, why: string): Reason =>
  Object.freeze({
    code,
    why,
    settle: 'before and after the open point, read one common conductor with the same two instruments',
  });

const NOT_COMMON = reason('common-conductor-not-common', 'the two instruments did not read the same terminal');
const NOT_TIED = reason(
  'common-conductor-not-tied',
  'the readings do not show that the instruments of the common conductor are those of the two sides, one for each side',
);
const NOT_AROUND = reason(
  'common-conductor-not-around',
  'the common conductor was not read shortly before and shortly after the open point',
);
const UNFIT = reason('common-conductor-unfit', 'a reading of the common conductor has no angle that may be compared');
