/** One step in the life of an alert as a record: what stays, what is new, and an id derived from the transition. */

import { SET_ASIDE } from './alert-states';
import { derivedId } from './derived-id';
import { formatInstant, parseInstant } from './instant';
import type { Alert } from './records';

export type AlertStep =
  | { readonly outcome: 'changed'; readonly alert: Alert }
  | { readonly outcome: 'unchanged' }
  | { readonly outcome: 'refused'; readonly code: string; readonly why: string };

export type Draft = Omit<Alert, 'id' | 'at'>;

export const UNCHANGED: AlertStep = Object.freeze({ outcome: 'unchanged' });

export const refused = (code: string, why: string): AlertStep => Object.freeze({ outcome: 'refused', code, why });

/** The alert as the next transition finds it: one revision on, without what belonged to the last transition only. */
export function next(before: Alert): Draft {
  const { id: _id, at: _at, by: _by, comment: _comment, ...stays } = before;
  return { ...stays, revision: before.revision + 1 };
}

/** The record of a transition made now. */
export function transition(draft: Draft, nowUs: number): AlertStep {
  // The end of a shelf is told only while it is shelved.
  const { shelvedUntil, ...rest } = draft;
  const told = draft.state === 'shelved' && shelvedUntil !== undefined ? { ...rest, shelvedUntil } : rest;
  const { key, revision, state, transition: name } = told;
  const at = formatInstant(nowUs);
  const id = derivedId('alert', { key, revision, state, transition: name, at });
  return Object.freeze({ outcome: 'changed', alert: Object.freeze({ ...told, id, at }) });
}

/** Bookkeeping: nothing that people are told of. */
const QUIET: ReadonlySet<string> = new Set(['repeated', 'delayed', 'not-raised']);

/**
 * Whether a transition is for the record only: the same said again, a delay that runs, or the condition of an alert that somebody
 * has set aside coming and going.
 * @example isQuiet({ transition: 'raised', state: 'unacknowledged' }) // false
 * @example isQuiet({ transition: 'raised', state: 'shelved' }) // true
 */
export const isQuiet = (alert: Pick<Alert, 'transition' | 'state'>): boolean =>
  QUIET.has(alert.transition) || (CONDITIONAL.has(alert.transition) && isSetAside(alert));

/** What a condition does to an alert. */
const CONDITIONAL: ReadonlySet<string> = new Set(['raised', 'changed', 'returned']);

/** Somebody must look at it: it calls. */
export const isCalling = ({ state }: Pick<Alert, 'state'>): boolean =>
  state === 'unacknowledged' || state === 'returned-unacknowledged';

/** Set aside by a person: the condition is followed and nobody is called. */
export const isSetAside = ({ state }: Pick<Alert, 'state'>): boolean => SET_ASIDE.has(state);

/**
 * When time alone will move the alert (its shelf ends, a delay is over), microseconds; undefined: never.
 */
export function dueAtUs({ state, shelvedUntil, pending }: Alert): number | undefined {
  const ends = [state === 'shelved' ? shelvedUntil : undefined, pending?.dueAt].filter((end) => end !== undefined);
  return ends.length === 0 ? undefined : Math.min(...ends.map(parseInstant));
}
