/** The two sides of an open point held against each other: the same phase or not, which landing, what stands across the gap. */
import { distinct } from './conductor-angle';
import { derivedId } from './derived-id';
import { stampOf } from './frame';
import { newest } from './identification-record';
import { type Grounds, grounds } from './open-point-grounds';
import type { Landing } from './open-point-landings';
import { type CompareOptions, DEFAULT_TOLERANCE_DEG } from './open-point-options';
import { measuredPairs } from './open-point-pairs';
import { type Decision, decide } from './open-point-verdict';
import type { Comparison } from './records';
import { type ConductorReadings, gathered, type ReadAt, readingOf } from './sample';

export const COMPARISON_CAUTION =
  'Evidence from readings taken at one time. It is not a test for absence of voltage, not a switching order and permits nothing: verify by the local rules.';

/**
 * Compares one pair of facing terminals. With one pair alone another phase is found but not named.
 */
export function comparePair(left: ReadAt, right: ReadAt, options: CompareOptions): Comparison {
  return compareOpenPoint([left], [right], options);
}

/**
 * Compares the two sides of an open point. The k-th terminal of the left side faces the k-th of the right; one to three pairs.
 * Each side is given by terminal, or as plain readings, whose terminals count in the order in which they first come.
 * `same-phase` needs a straight landing with probability 0.999, |mean| + 3.29 U within the tolerance, every pair in line,
 * clocks within budget, both sides live, no refused reading, one time window and a proof of common time.
 * `not-the-same-phase` needs another landing with probability 0.999, or |mean| - 3.29 U over the tolerance.
 * Everything else is `not-proven`, with what would settle it. Where the common time is not proven, or something forbids any verdict,
 * differences stand as read, and probability (0), uncertainties and bounds are not told.
 * @throws RangeError when the sides are not one to three pairs of different terminals with readings
 */
export function compareOpenPoint(
  leftSide: readonly ReadAt[],
  rightSide: readonly ReadAt[],
  options: CompareOptions,
): Comparison {
  const [left, right] = [gathered(leftSide), gathered(rightSide)];
  check(left, right);
  const g = grounds(left, right, options);
  const decision = decide(g, options);
  return comparison(left, right, options, g, decision);
}

function comparison(
  left: readonly ConductorReadings[],
  right: readonly ConductorReadings[],
  options: CompareOptions,
  g: Grounds,
  decision: Decision,
): Comparison {
  const proofSamples = options.proof ? [...options.proof.before, ...options.proof.after] : [];
  const readings = [...[...left, ...right].flatMap((c) => c.readings), ...proofSamples].map(readingOf);
  const from = [...new Set(readings.map((r) => r.id))].sort();
  const { verdict, landing } = decision;
  const { openPoint, frame, toleranceDeg = DEFAULT_TOLERANCE_DEG } = options;
  const kind = 'comparison' as const;
  const at = newest(readings);
  // With the instant, so that the id begins with it; members in order: then the id costs half.
  const said = { at, frame: stampOf(frame), from, kind, landing, openPoint, toleranceDeg, verdict };
  const pairs = g.sides ? measuredPairs(g.sides, options, decision.bounded) : { pairs: [], reasons: [] };
  return Object.freeze({
    ...said,
    id: derivedId(kind, said),
    from: [...from, ...(g.sides?.referenceFrom ?? [])],
    caution: COMPARISON_CAUTION,
    belongs: verdict === 'not-proven' ? [] : belongs(left, right, decision.named),
    pairs: pairs.pairs,
    probability: decision.probability,
    standingAngleDeg: decision.standingAngleDeg,
    standingAngleUpperDeg: decision.standingAngleUpperDeg,
    proof: g.proof.proof,
    reasons: [...distinct([...decision.reasons, ...pairs.reasons])],
  });
}

function belongs(
  left: readonly ConductorReadings[],
  right: readonly ConductorReadings[],
  named: Landing | undefined,
): Comparison['belongs'] {
  return left.flatMap((l, k) => {
    const partner = right[named?.partners[k] ?? -1];
    return partner ? [{ left: l.terminal, right: partner.terminal, landedOn: right[k]!.terminal }] : [];
  });
}

function check(left: readonly ConductorReadings[], right: readonly ConductorReadings[]): void {
  const names = [...left, ...right].map((c) => c.terminal);
  if (left.length !== right.length || left.length < 1 || left.length > 3 || new Set(names).size !== names.length) {
    const got = `${left.map((c) => c.terminal).join(', ')} and ${right.map((c) => c.terminal).join(', ')}`;
    throw new RangeError(`compareOpenPoint: one to three pairs of different terminals are needed, got ${got}`);
  }
  const bare = [...left, ...right].find((c) => c.readings.length === 0);
  if (bare) throw new RangeError(`compareOpenPoint: terminal ${bare.terminal} has no readings`);
}
