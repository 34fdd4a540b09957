/** What people do to alerts. */
import { type AlertEvent, nextState, statesFor } from './alert-states';
import { type AlertStep, next, refused, transition } from './alert-transition';
import { formatInstant } from './instant';
import type { Alert } from './records';

export type OperatorAction =
  | { readonly action: 'acknowledge'; readonly by: string; readonly comment?: string }
  | { readonly action: 'shelve'; readonly by: string; readonly comment: string; readonly untilUs: number }
  | { readonly action: 'unshelve'; readonly by: string; readonly comment?: string }
  | { readonly action: 'suppress'; readonly by: string; readonly comment: string }
  | { readonly action: 'unsuppress'; readonly by: string; readonly comment?: string }
  | { readonly action: 'out-of-service'; readonly by: string; readonly comment: string }
  | { readonly action: 'in-service'; readonly by: string; readonly comment?: string }
  | { readonly action: 'comment'; readonly by: string; readonly comment: string };

export type Action = OperatorAction['action'] & AlertEvent;

const PAST: Readonly<Record<Action, string>> = {
  acknowledge: 'acknowledged',
  shelve: 'shelved',
  unshelve: 'unshelved',
  suppress: 'suppressed',
  unsuppress: 'unsuppressed',
  'out-of-service': 'taken-out-of-service',
  'in-service': 'returned-to-service',
  comment: 'commented',
};

/** Every action there is. */
export const ALERT_ACTIONS = Object.freeze(Object.keys(PAST)) as readonly Action[];

/** Where people are no longer called, or something is said, words are needed. */
const NEEDS_WORDS: ReadonlySet<Action> = new Set<Action>(['shelve', 'suppress', 'out-of-service', 'comment']);

/**
 * What a person does to an alert, or why that is not possible: codes by-missing, reason-missing, until-in-past, state-does-not-allow.
 */
export function applyAction(before: Alert, act: OperatorAction, nowUs: number): AlertStep {
  if (act.by.trim() === '') return refused('by-missing', 'it must be said who does it (by)');
  if (NEEDS_WORDS.has(act.action) && !act.comment?.trim()) {
    return refused('reason-missing', `${act.action} needs words: a reason or comment`);
  }
  if (act.action === 'shelve' && !(act.untilUs > nowUs)) {
    return refused('until-in-past', 'shelve needs an end that lies ahead');
  }
  const state = nextState(before.state, act.action, before.active);
  if (state === undefined) {
    const states = statesFor(act.action).join(', ');
    return refused(
      'state-does-not-allow',
      `${act.action} is not possible while the alert is ${before.state}; it is for ${states}`,
    );
  }
  const comment = act.comment === undefined ? {} : { comment: act.comment };
  const shelvedUntil = act.action === 'shelve' ? { shelvedUntil: formatInstant(act.untilUs) } : {};
  const done = { state, transition: PAST[act.action], by: act.by, ...comment, ...shelvedUntil };
  return transition({ ...next(before), ...done }, nowUs);
}
