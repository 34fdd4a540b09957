/**
 * More alerts than people can take in: some are held back and one alert says so, with how many and of what kind. What is held is in
 * the ledger, open, and its turn comes. ISA-18.2 (from memory) speaks of a flood above ten alarms in ten minutes for one operator.
 */

import type { Condition } from './alert-condition';
import { ALERT_CAUTION } from './alert-rules';
import { formatInstant } from './instant';
import type { Alert } from './records';

const MINUTE_US = 60e6;
/** Ids of held alerts that the notice names. */
const NAMED = 50;

export interface Allowance {
  /** how many may be sent now */
  readonly budget: number;
  /** when the next may be sent, microseconds; undefined: now */
  readonly againAtUs: number | undefined;
}

/**
 * How many alerts may be sent now when no more than so many may be sent in any minute.
 * @param sentAtUs when alerts were sent, oldest first
 * @example allowance([0, 30e6], 2, 50e6) // { budget: 0, againAtUs: 60000000 }
 * @example allowance([0, 30e6], 2, 60e6) // { budget: 1, againAtUs: undefined }
 */
export function allowance(sentAtUs: readonly number[], perMinute: number, nowUs: number): Allowance {
  const recent = sentAtUs.filter((at) => at > nowUs - MINUTE_US);
  const budget = Math.max(0, perMinute - recent.length);
  return { budget, againAtUs: budget > 0 ? undefined : recent[recent.length - perMinute]! + MINUTE_US };
}

/**
 * The condition of the flood notice. It calls again when twice as many are held as when it last called.
 * @param subject the desk that holds them
 * @param held what is held now
 * @param isAll false: more are held than these
 * @param most the most that were held since the flood began
 * @param before the notice as it stands: of several workers of a desk one may have seen more held than another
 */
export function floodCondition(
  subject: string,
  held: readonly Alert[],
  isAll: boolean,
  most: number,
  nowUs: number,
  before?: Pick<Alert, 'active' | 'says'>,
): Condition {
  const peak = Math.max(1, most, before?.active ? saidHeld(before) : 0);
  const active = held.length > 0;
  const number = `${isAll ? '' : 'more than '}${held.length}`;
  const text = active
    ? `${subject}: ${number} alert messages are held back and come in their turn: ${kinds(held)}. All alerts are in the ledger`
    : `${subject}: no alert message is held back any more; ${peak} were at the most`;
  return Object.freeze({
    key: floodKey(subject),
    category: 'alert-flood',
    subject,
    priority: 'high',
    active,
    says: `at least ${2 ** Math.floor(Math.log2(peak))} held back`,
    text,
    caution: ALERT_CAUTION,
    from: held.slice(0, NAMED).map((alert) => alert.id),
    evidenceAt: formatInstant(nowUs),
  });
}

/** Key of the flood notice of a desk. */
export const floodKey = (subject: string): string => `alert-flood:${subject}`;

const saidHeld = ({ says = '' }: Pick<Alert, 'says'>): number => Number(/^at least (\d+) /.exec(says)?.[1] ?? 0);

/** @example kinds([{ category: 'tie-mismatch', priority: 'high' }]) // '1 tie-mismatch (high)' */
export function kinds(alerts: readonly Pick<Alert, 'category' | 'priority'>[]): string {
  const counts = new Map<string, number>();
  for (const { category, priority } of alerts) {
    const kind = `${category} (${priority})`;
    counts.set(kind, (counts.get(kind) ?? 0) + 1);
  }
  return [...counts].map(([kind, n]) => `${n} ${kind}`).join(', ');
}
