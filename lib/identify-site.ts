/** The conductors of one site identified together: what they share cannot be mistaken for a phase, and gross errors stand out. */
import { type ConductorAngle, conductorAngle, distinct } from './conductor-angle';
import type { Frame } from './frame';
import { type IdentifyContext, identify } from './identify';
import { judgeSite } from './identify-site-judge';
import { siteStatements } from './identify-site-statements';
import type { Terminal } from './network';
import type { Identification, Reason } from './records';
import { type ConductorReadings, gathered, type ReadAt } from './sample';
import { type SiteSequence, siteSequence } from './site-sequence';

export interface SiteContext extends Omit<IdentifyContext, 'terminal'> {
  /** the records of the terminals */
  readonly terminals?: ReadonlyMap<string, Terminal> | undefined;
}

export interface SiteFinding {
  /** one for each conductor, in the order given */
  readonly identifications: readonly Identification[];
  /** seen in the order given; null when not proven or when there are not three conductors */
  readonly sequence: 'ABC' | 'ACB' | null;
  readonly sequenceProbability: number;
  /** phase label of each conductor, when all are named */
  readonly permutation: readonly string[] | null;
  /** the conductors stand to each other as phases do */
  readonly consistent: boolean;
  readonly reasons: readonly Reason[];
}

/**
 * Identifies two or three conductors of one site together. Conductors without a usable angle are told apart and do not stop
 * the others; without any reference only the sequence is found.
 * @param readings of the conductors in viewing order: by terminal, each once, or plain readings, whose terminals count as they first come
 * @throws RangeError when there is none, more than three, one without readings, or one twice
 */
export function identifySite(readings: readonly ReadAt[], frame: Frame, context: SiteContext = {}): SiteFinding {
  const conductors = gathered(readings);
  check(conductors);
  const angles = conductors.map((c) =>
    conductorAngle(c.readings, frame, context, 'absolutePhase', context.terminals?.get(c.terminal)),
  );
  const usable = angles.flatMap((a, i) => (a.ok ? [{ index: i, conductor: a.conductor }] : []));
  const sequence = siteSequence(conductors, frame, context);
  if (usable.length < 2 || new Set(usable.map((u) => u.conductor.reference)).size > 1) {
    return finish(
      conductors.map((c) => alone(c, frame, context)),
      sequence,
      true,
      sequence.reasons,
      conductors.length,
    );
  }
  return joint(conductors, usable, frame, context, sequence);
}

function joint(
  conductors: readonly ConductorReadings[],
  usable: readonly { readonly index: number; readonly conductor: ConductorAngle }[],
  frame: Frame,
  context: SiteContext,
  sequence: SiteSequence,
): SiteFinding {
  const members = usable.map((u) => conductors[u.index]!);
  const terminals = members.map((m) => context.terminals?.get(m.terminal));
  const judgement = judgeSite(
    members.map((m) => m.terminal),
    usable.map((u) => u.conductor),
    terminals,
    frame,
    context,
  );
  const together = siteStatements(
    members,
    usable.map((u) => u.conductor),
    terminals,
    judgement,
    frame,
    context,
  );
  const identifications = conductors.map((c, i) => {
    const place = usable.findIndex((u) => u.index === i);
    return place < 0 ? alone(c, frame, context) : together[place]!;
  });
  const known = new Set(judgement.reasons.map((r) => r.code));
  const reasons = [...judgement.reasons, ...sequence.reasons.filter((r) => !known.has(r.code))];
  return finish(identifications, sequence, judgement.consistent, reasons, conductors.length);
}

const alone = (c: ConductorReadings, frame: Frame, context: SiteContext): Identification =>
  identify(c.readings, frame, { ...context, terminal: context.terminals?.get(c.terminal) });

function finish(
  identifications: readonly Identification[],
  sequence: SiteSequence,
  consistent: boolean,
  reasons: readonly Reason[],
  count: number,
): SiteFinding {
  const phases = identifications.flatMap((i) => (i.phase === null ? [] : [i.phase]));
  return Object.freeze({
    identifications: Object.freeze(identifications),
    sequence: sequence.sequence,
    sequenceProbability: sequence.probability,
    permutation: phases.length === count ? Object.freeze(phases) : null,
    consistent,
    reasons: Object.freeze(distinct(reasons)),
  });
}

function check(conductors: readonly ConductorReadings[]): void {
  const names = conductors.map((c) => c.terminal);
  if (names.length < 1 || names.length > 3 || new Set(names).size !== names.length) {
    throw new RangeError(
      `identifySite: one to three different terminals are needed, got ${names.join(', ') || 'none'}`,
    );
  }
  const bare = conductors.find((c) => c.readings.length === 0);
  if (bare) throw new RangeError(`identifySite: terminal ${bare.terminal} has no readings`);
}
