/** Findings may come to the desk late and out of order, to any of several workers; the ledger knows which one holds. */
import type { Condition } from '../../lib/alert-condition';
import { conditionsOf } from '../../lib/alert-rules';
import { parseInstant } from '../../lib/instant';
import type { AlertCategory, Finding, PhaseloomRecord } from '../../lib/records';
import type { Ledger } from '../ledger/ledger';

/** Which findings speak of an alert of this category. */
const KINDS: Readonly<Partial<Record<AlertCategory, PhaseloomRecord['kind']>>> = {
  'tie-mismatch': 'comparison',
  'record-conflict': 'identification',
  'rotation-conflict': 'rotation',
  'network-conflict': 'trace',
};
/** Sets of three at one site. */
const MOST = 50;

/** True when a newer finding in the ledger says otherwise: it was here, or it will be. */
export async function isOutdated(ledger: Ledger, condition: Condition): Promise<boolean> {
  const kind = KINDS[condition.category];
  if (!kind) return false;
  const { records } = await ledger.records({
    kinds: [kind],
    subject: condition.subject,
    currentOnly: true,
    limit: MOST,
  });
  return records.some((record) => conditionsOf(record as Finding).some((other) => overrules(other, condition)));
}

const overrules = (other: Condition, c: Condition): boolean =>
  other.key === c.key &&
  (other.active !== c.active || (c.active && other.says !== c.says)) &&
  parseInstant(other.evidenceAt) > parseInstant(c.evidenceAt);
