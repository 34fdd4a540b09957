/** From a finding to the condition of an alert. Only proven findings raise or clear; what is not proven leaves every alert as it is. */
import type { Condition } from './alert-life-cycle';
import type { Comparison, Finding, Identification, Rejection, Rotation } from './records';

export const ALERT_CAUTION =
  'Evidence from readings, for qualified people to verify by local rules. It is no test for absence of voltage and gives no permission to switch.';

/** What a reference can be blamed for, by the reason codes of its watch. */
const REFERENCE_CODES = new Set([
  'reference-not-synchronous',
  'reference-stepped',
  'reference-stale',
  'spot-readings-disagree',
  'frequencies-disagree',
]);

/**
 * The conditions that follow from a finding or a rejection, possibly none.
 * @example conditionsOf({ kind: 'comparison', openPoint: 'P', verdict: 'not-proven', reasons: [] }) // []
 */
export function conditionsOf(record: Finding | Rejection): readonly Condition[] {
  switch (record.kind) {
    case 'comparison':
      return ofComparison(record);
    case 'identification':
      return ofIdentification(record);
    case 'rotation':
      return ofRotation(record);
    case 'rejection':
      return ofRejection(record);
  }
}

function ofComparison(c: Comparison): Condition[] {
  if (c.verdict === 'not-proven') return [];
  const active = c.verdict === 'not-the-same-phase';
  return [
    condition(
      c,
      'tie-mismatch',
      c.openPoint,
      'high',
      active,
      active ? mismatchText(c) : `${c.openPoint}: same phase on both sides`,
    ),
  ];
}

function mismatchText(c: Comparison): string {
  const landing = c.landing === 'rolled' || c.landing === 'swapped' ? ` (${c.landing})` : '';
  const belongs = c.belongs
    .filter((b) => b.right !== b.landedOn)
    .map((b) => `${b.left} faces ${b.landedOn} and belongs with ${b.right}`);
  const why = belongs.length > 0 ? belongs.join('; ') : c.reasons.map((r) => r.code).join(', ');
  return `${c.openPoint}: not the same phase${landing}: ${why}`;
}

function ofIdentification(i: Identification): Condition[] {
  const doubt = i.reasons.filter((r) => REFERENCE_CODES.has(r.code));
  if (i.reference !== null && doubt.length > 0) {
    const codes = [...new Set(doubt.map((r) => r.code))].sort();
    return [
      condition(
        i,
        'reference-doubt',
        i.reference,
        'medium',
        true,
        `${i.reference}: ${codes.join(', ')}: findings against it are not proven`,
      ),
    ];
  }
  if (i.verdict === 'not-proven') return [];
  const proven =
    i.reference === null
      ? []
      : [condition(i, 'reference-doubt', i.reference, 'medium', false, `${i.reference}: in use again`)];
  if (i.agreesWithRecord === null) return proven;
  const active = !i.agreesWithRecord;
  const text = active
    ? `${i.terminal}: recorded as ${i.recordedPhase}, found to be ${i.phase}`
    : `${i.terminal}: found as recorded, ${i.phase}`;
  return [...proven, condition(i, 'record-conflict', i.terminal, 'medium', active, text)];
}

function ofRotation(r: Rotation): Condition[] {
  if (r.verdict !== 'decided' || r.agreesWithRecord === null) return [];
  const active = !r.agreesWithRecord;
  const text = active
    ? `${r.site}: turns ${r.sequence} (${r.turns}) in viewing order, recorded ${r.recordedSequence}`
    : `${r.site}: turns as recorded, ${r.sequence}`;
  return [condition(r, 'rotation-conflict', r.site, 'high', active, text)];
}

function ofRejection(r: Rejection): Condition[] {
  const failed = r.stage === 'screen' && r.problems.find((p) => p.code === 'self-test-failed');
  if (!failed) return [];
  return [
    Object.freeze({
      ...condition(
        r,
        'instrument-doubt',
        r.terminal ?? r.source,
        'low',
        true,
        `${r.terminal ?? r.source}: ${failed.what}`,
      ),
      momentary: true,
    }),
  ];
}

function condition(
  record: Finding | Rejection,
  category: Condition['category'],
  subject: string,
  priority: Condition['priority'],
  active: boolean,
  text: string,
): Condition {
  const frame = record.frame === undefined ? {} : { frame: record.frame };
  return Object.freeze({
    key: `${category}:${subject}`,
    category,
    subject,
    priority,
    active,
    text,
    caution: ALERT_CAUTION,
    from: [record.id],
    evidenceAt: record.at,
    ...frame,
  });
}
