/** A comparison in the words of an alert: what is not the same phase, which conductor belongs where, and on what evidence. */
import type { Comparison } from './records';

export interface AlertWords {
  readonly active: boolean;
  readonly says: string;
  readonly text: string;
}

/**
 * Words of a comparison that proved something.
 * @param c its verdict is not 'not-proven'
 */
export function comparisonWords(c: Comparison): AlertWords {
  if (c.verdict === 'same-phase') {
    return { active: false, says: 'same phase', text: `${c.openPoint}: same phase on both sides${proof(c)}` };
  }
  const landed = c.landing === null || c.landing === 'straight' ? '' : `, ${c.landing}`;
  const belongs = c.belongs
    .filter((b) => b.right !== b.landedOn)
    .map((b) => `${b.left} faces ${b.landedOn} and belongs with ${b.right}`);
  // Figures and reservations differ from reading to reading; what must be put right does not.
  const says = belongs.length > 0 ? [c.landing ?? 'other phases', ...belongs].join('; ') : 'over tolerance';
  const why = belongs.length > 0 ? belongs.join('; ') : c.reasons.map((r) => r.why).join('; ');
  return { active: true, says, text: `${c.openPoint}: not the same phase${landed}: ${why}${apart(c)}${proof(c)}` };
}

const apart = ({ pairs, toleranceDeg }: Comparison): string =>
  pairs.length === 0
    ? ''
    : `. Facing pairs stand ${pairs.map((p) => p.differenceDeg.toFixed(0)).join(', ')} degrees apart, ${toleranceDeg} are allowed`;

const PROOF = {
  'common-conductor': 'a common conductor, read before and after',
  'attested-time': 'attested time',
  'same-instrument': 'the same instrument on both sides',
} as const;

const proof = (c: Comparison): string => (c.proof === null ? '' : `. Proof of time: ${PROOF[c.proof]}`);
