/** Corrections for those who mend the record: held against the feeder document, which accepting a correction does not change. */
import type { Trace, TraceCorrection, TraceLabel } from '../../records';

/** Label of a section beside what the feeder document says of it. */
export interface DocumentLabel extends TraceLabel {
  /** what a person accepted for it and still counts as recorded; left out: nothing */
  readonly accepted?: readonly string[];
}

export interface DocumentGroup extends Omit<TraceCorrection, 'labels'> {
  readonly labels: readonly DocumentLabel[];
}

/** What the trace offers. A label that contradicts an accepted one says again what holds instead of the document's own. */
export function offeredAgainstDocument({ corrections, accepted = [] }: Trace): DocumentGroup[] {
  const made = new Map(accepted.map((d) => [d.section, d]));
  return corrections.map((group) => ({
    ...group,
    labels: group.labels.map((label) => {
      const before = made.get(label.section);
      return before ? { ...label, recorded: before.recorded, accepted: before.phases } : label;
    }),
  }));
}

/** What people accepted, each under its own section, without those that the evidence contradicts by now. */
export function acceptedAgainstDocument({ accepted = [] }: Trace): DocumentGroup[] {
  return accepted
    .filter((d) => !d.contradicted)
    .map(({ by, decidedAt, correction, ...label }) => ({
      cause: { section: label.section, probability: label.probability, change: `accepted by ${by}, ${decidedAt}` },
      labels: [{ ...label, accepted: label.phases }],
      from: [correction],
    }));
}
