/** The readings of a set that were taken against UTC, held against the stream of one reference at their own instants. */
import type { Aligned, NotAligned } from './align';
import { distinct } from './conductor-angle';
import type { Frame, Reference } from './frame';
import type { RawConductor } from './reading-sets';
import type { Reading, Reason } from './records';
import type { ConductorReadings, Sample } from './sample';

/** Holds a reading against the stream of a reference of the frame. */
export type Align = (reading: Reading, reference: Reference) => Aligned | NotAligned;

export interface AlignedSet {
  readonly conductors: readonly ConductorReadings[];
  /** why readings could not be aligned, by the id of the reading */
  readonly unaligned: ReadonlyMap<string, readonly Reason[]>;
}

interface Attempt {
  readonly aligned: ReadonlyMap<string, Aligned>;
  readonly unaligned: ReadonlyMap<string, readonly Reason[]>;
}

const NOTHING: Attempt = { aligned: new Map(), unaligned: new Map() };

/**
 * All against one reference: the one that serves most of the readings, since angles against different references do not compare.
 * Among equals one that other readings of the set were taken against goes first, then the order of the frame.
 * @param whole true: a set is aligned as a whole or left against UTC, for angles that are compared with each other
 */
export function alignSet(conductors: readonly RawConductor[], frame: Frame, align: Align, whole: boolean): AlignedSet {
  const isUtc = (r: Reading) => r.against === 'utc' && r.angleDeg !== undefined;
  if (!conductors.some((c) => c.readings.some(isUtc))) return { conductors, unaligned: NOTHING.unaligned };
  const readings = conductors.flatMap((c) => c.readings);
  const utc = readings.filter(isUtc);
  const best = bestAttempt(utc, candidates(readings, frame), align);
  if (whole && best.unaligned.size > 0) return { conductors, unaligned: best.unaligned };
  const sample = (r: Reading): Sample => best.aligned.get(r.id) ?? r;
  const aligned = conductors.map((c) => ({ terminal: c.terminal, readings: c.readings.map(sample) }));
  return { conductors: aligned, unaligned: best.unaligned };
}

function candidates(readings: readonly Reading[], frame: Frame): Reference[] {
  const named = new Set(readings.map((r) => r.against));
  const streams = frame.references.filter((r) => r.terminal !== undefined);
  return [...streams.filter((r) => named.has(r.id)), ...streams.filter((r) => !named.has(r.id))];
}

function bestAttempt(utc: readonly Reading[], references: readonly Reference[], align: Align): Attempt {
  let best = NOTHING;
  for (const reference of references) {
    const made = attempt(utc, reference, align);
    if (made.unaligned.size === 0) return made;
    if (best === NOTHING || made.aligned.size > best.aligned.size) best = made;
  }
  return best;
}

function attempt(utc: readonly Reading[], reference: Reference, align: Align): Attempt {
  const aligned = new Map<string, Aligned>();
  const unaligned = new Map<string, readonly Reason[]>();
  for (const reading of utc) {
    const made = align(reading, reference);
    if (made.aligned) aligned.set(reading.id, made);
    else unaligned.set(reading.id, made.reasons);
  }
  return { aligned, unaligned };
}

/** Reasons that come of readings left against UTC. */
const OF_THE_UNALIGNED = new Set(['not-aligned', 'instants-differ', 'against-differs']);

/** The reasons of a finding with the reasons why its readings could not be aligned, where that is what stands in the way. */
export function withAlignmentReasons(
  reasons: readonly Reason[],
  unaligned: AlignedSet['unaligned'],
): readonly Reason[] {
  if (unaligned.size === 0 || !reasons.some((r) => OF_THE_UNALIGNED.has(r.code))) return reasons;
  const others = reasons.filter((r) => r.code !== 'not-aligned');
  return distinct([...[...unaligned.values()].flat(), ...others]);
}
