/** A person's decision about a correction that a trace tells of, as a record. */
import { derivedId } from '../derived-id';
import type { Correction, Trace, TraceDecided, TraceLabel } from '../records';

export interface Decision {
  readonly section: string;
  readonly decision: Correction['decision'];
  readonly by: string;
  readonly comment?: string;
}

export const CORRECTION_CAUTION =
  'It changes what Phaseloom takes as recorded, not the network, its tags or its own records: verify at the place itself.';

/**
 * The record of a decision. From the trace after it on, what was accepted counts as recorded, and what was refused is not offered again
 * until further evidence comes. It may also be about what was accepted or refused before: refusing what was accepted takes it back.
 * The record rests on the trace and on the evidence that the trace has for the correction.
 * @param at instant of the decision, RFC 3339
 * @returns the record, or a sentence that says what is not offered
 */
export function decideCorrection(
  trace: Trace,
  { section, decision, by, comment }: Decision,
  at: string,
): Correction | string {
  const found = told(trace, section);
  if (!found) {
    return `no correction is offered for section ${section} of feeder ${trace.feeder}; expected a section named in its trace`;
  }
  const { label, evidence } = found;
  const said = {
    kind: 'correction' as const,
    at,
    from: [trace.id, ...evidence],
    ...(trace.frame ? { frame: trace.frame } : {}),
    feeder: trace.feeder,
    section,
    recorded: [...label.recorded],
    phases: [...label.phases],
    probability: label.probability,
    ...(label.rowDigest ? { rowDigest: label.rowDigest } : {}),
    decision,
    by,
    ...(comment === undefined ? {} : { comment }),
  };
  return Object.freeze({ ...said, id: derivedId('correction', said), caution: CORRECTION_CAUTION });
}

function told(
  { corrections, accepted = [], refused = [], from }: Trace,
  section: string,
): { label: TraceLabel | TraceDecided; evidence: readonly string[] } | undefined {
  for (const { labels, from: evidence } of corrections) {
    const label = labels.find((l) => l.section === section);
    if (label) return { label, evidence };
  }
  const label = [...accepted, ...refused].find((l) => l.section === section);
  return label && { label, evidence: from };
}

/** What a decision leaves recorded, in the order of the conductors present. */
export const recordedAfter = ({ decision, recorded, phases }: Correction): readonly string[] =>
  decision === 'accepted' ? phases : recorded;
