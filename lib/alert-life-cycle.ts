/**
 * The life of an alert: the alarm states of IEC 62682 and ISA-18.2 (state diagram from memory). Pure: time is an argument, the
 * record before and an event give the record after, or the reason why that event is not for that state.
 */
import { derivedId } from './derived-id';
import { formatInstant } from './instant';
import type { Alert, AlertCategory, AlertState, Priority } from './records';

/** What a finding says about one alert key. */
export interface Condition {
  readonly key: string;
  readonly category: AlertCategory;
  readonly subject: string;
  readonly priority: Priority;
  readonly active: boolean;
  /** it happened and is over: it calls until somebody has seen it */
  readonly momentary?: boolean;
  readonly text: string;
  readonly caution: string;
  /** ids of the findings it rests on */
  readonly from: readonly string[];
  /** instant of the evidence, RFC 3339 in UTC */
  readonly evidenceAt: string;
  readonly frame?: Alert['frame'];
}

export type OperatorAction =
  | { readonly action: 'acknowledge'; readonly by: string; readonly comment?: string }
  | { readonly action: 'shelve'; readonly by: string; readonly comment: string; readonly untilUs: number }
  | { readonly action: 'unshelve'; readonly by: string; readonly comment?: string }
  | { readonly action: 'suppress'; readonly by: string; readonly comment: string }
  | { readonly action: 'unsuppress'; readonly by: string; readonly comment?: string }
  | { readonly action: 'out-of-service'; readonly by: string; readonly comment: string }
  | { readonly action: 'in-service'; readonly by: string; readonly comment?: string }
  | { readonly action: 'comment'; readonly by: string; readonly comment: string };

export type AlertStep =
  | { readonly outcome: 'changed'; readonly alert: Alert }
  | { readonly outcome: 'unchanged' }
  | { readonly outcome: 'refused'; readonly code: string; readonly why: string };

/** Set aside by a person: the condition is followed, nobody is called. */
const SET_ASIDE: ReadonlySet<AlertState> = new Set(['shelved', 'suppressed-by-design', 'out-of-service']);

/** State after the condition comes, by state before. */
const RAISED: Readonly<Record<AlertState, AlertState>> = {
  normal: 'unacknowledged',
  unacknowledged: 'unacknowledged',
  acknowledged: 'acknowledged',
  'returned-unacknowledged': 'unacknowledged',
  shelved: 'shelved',
  'suppressed-by-design': 'suppressed-by-design',
  'out-of-service': 'out-of-service',
};

/** State after the condition goes. */
const RETURNED: Readonly<Record<AlertState, AlertState>> = {
  normal: 'normal',
  unacknowledged: 'returned-unacknowledged',
  acknowledged: 'normal',
  'returned-unacknowledged': 'returned-unacknowledged',
  shelved: 'shelved',
  'suppressed-by-design': 'suppressed-by-design',
  'out-of-service': 'out-of-service',
};

type Action = OperatorAction['action'];

/** States an action is for, and the state it leads to; 'back': as the condition stands. */
const ACTIONS: Readonly<
  Record<Exclude<Action, 'comment'>, { readonly from: readonly AlertState[]; readonly to: AlertState | 'back' }>
> = {
  acknowledge: { from: ['unacknowledged', 'returned-unacknowledged'], to: 'back' },
  shelve: { from: ['normal', 'unacknowledged', 'acknowledged', 'returned-unacknowledged', 'shelved'], to: 'shelved' },
  unshelve: { from: ['shelved'], to: 'back' },
  suppress: {
    from: ['normal', 'unacknowledged', 'acknowledged', 'returned-unacknowledged'],
    to: 'suppressed-by-design',
  },
  unsuppress: { from: ['suppressed-by-design'], to: 'back' },
  'out-of-service': {
    from: ['normal', 'unacknowledged', 'acknowledged', 'returned-unacknowledged', 'shelved', 'suppressed-by-design'],
    to: 'out-of-service',
  },
  'in-service': { from: ['out-of-service'], to: 'back' },
};

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

/**
 * What a condition does to an alert. Older evidence than what the alert rests on changes nothing, and neither does the same said again.
 * An active condition that says something new calls again, even when the alert was acknowledged.
 * @param before the alert as it is; undefined when there is none yet
 */
export function applyCondition(before: Alert | undefined, condition: Condition, nowUs: number): AlertStep {
  if (!before) return condition.active ? changed(first(condition), nowUs) : { outcome: 'unchanged' };
  if (condition.evidenceAt < before.evidenceAt) return { outcome: 'unchanged' };
  if (!condition.active) return before.active ? changed(returned(before, condition), nowUs) : { outcome: 'unchanged' };
  if (before.active && before.text === condition.text) return { outcome: 'unchanged' };
  return changed(raised(before, condition), nowUs);
}

/** What a person does to an alert, or why that is not possible. */
export function applyAction(before: Alert, act: OperatorAction, nowUs: number): AlertStep {
  if (act.by.trim() === '') return refused('by-missing', 'it must be said who does it (by)');
  const needsReason = ['shelve', 'suppress', 'out-of-service', 'comment'].includes(act.action);
  if (needsReason && !act.comment?.trim()) return refused('reason-missing', `${act.action} needs a reason (comment)`);
  if (act.action === 'shelve' && !(act.untilUs > nowUs))
    return refused('until-in-past', 'shelve needs an end that lies ahead (minutes)');
  if (act.action === 'comment')
    return changed({ ...kept(before), by: act.by, comment: act.comment, transition: PAST.comment }, nowUs);
  const rule = ACTIONS[act.action];
  if (!rule.from.includes(before.state)) {
    return refused(
      'state-does-not-allow',
      `${act.action} is not possible while the alert is ${before.state}; it is for ${rule.from.join(', ')}`,
    );
  }
  const state = rule.to === 'back' ? stateBack(before, act.action) : rule.to;
  const comment = act.comment === undefined ? {} : { comment: act.comment };
  const shelvedUntil = act.action === 'shelve' ? { shelvedUntil: formatInstant(act.untilUs) } : {};
  return changed(
    { ...kept(before), state, transition: PAST[act.action], by: act.by, ...comment, ...shelvedUntil },
    nowUs,
  );
}

/** What happens when the time of a shelved alert is over; unchanged when it is not shelved or not over. */
export function applyShelfEnd(before: Alert, nowUs: number): AlertStep {
  if (before.state !== 'shelved' || before.shelvedUntil === undefined || before.shelvedUntil > formatInstant(nowUs))
    return { outcome: 'unchanged' };
  return changed({ ...kept(before), state: stateBack(before, 'unshelve'), transition: 'shelf-ended' }, nowUs);
}

type Draft = Omit<Alert, 'id' | 'at'>;

function stateBack(before: Alert, action: Action): AlertState {
  if (action === 'acknowledge') return before.active ? 'acknowledged' : 'normal';
  return before.active ? 'unacknowledged' : 'normal';
}

/** The record without what belonged to the last transition only. */
function kept(before: Alert): Draft {
  const { id: _id, at: _at, by: _by, comment: _comment, shelvedUntil, ...rest } = before;
  const stays = before.state === 'shelved' && shelvedUntil !== undefined ? { shelvedUntil } : {};
  return { ...rest, revision: before.revision + 1, ...stays };
}

function first(c: Condition): Draft {
  const { active, key, category, subject, priority, text, caution, from, evidenceAt } = c;
  const frame = c.frame === undefined ? {} : { frame: c.frame };
  return {
    kind: 'alert',
    key,
    category,
    subject,
    priority,
    text,
    caution,
    from: [...from],
    ...frame,
    active,
    state: 'unacknowledged',
    transition: 'raised',
    revision: 1,
    since: evidenceAt,
    evidenceAt,
    count: 1,
  };
}

function raised(before: Alert, c: Condition): Draft {
  const again = before.active;
  // New evidence of another fault calls again; a person has acknowledged something else.
  const state = again && before.state === 'acknowledged' ? 'unacknowledged' : RAISED[before.state];
  const fresh = before.state === 'normal';
  return {
    ...kept(before),
    ...evidenceOf(c),
    priority: c.priority,
    text: c.text,
    caution: c.caution,
    active: true,
    state,
    transition: again ? 'changed' : 'raised',
    since: again ? before.since : c.evidenceAt,
    count: fresh ? 1 : before.count + 1,
  };
}

function returned(before: Alert, c: Condition): Draft {
  return {
    ...kept(before),
    ...evidenceOf(c),
    active: false,
    state: RETURNED[before.state],
    transition: 'returned',
    since: c.evidenceAt,
  };
}

const evidenceOf = (c: Condition) => ({
  from: [...c.from],
  evidenceAt: c.evidenceAt,
  ...(c.frame === undefined ? {} : { frame: c.frame }),
});

function changed(draft: Draft, nowUs: number): AlertStep {
  const at = formatInstant(nowUs);
  // A shelf end is told only while it is shelved.
  const { shelvedUntil, ...rest } = draft;
  const told = draft.state === 'shelved' && shelvedUntil !== undefined ? { ...rest, shelvedUntil } : rest;
  const { key, revision, state, transition } = told;
  return {
    outcome: 'changed',
    alert: Object.freeze({ ...told, at, id: derivedId('alert', { key, revision, state, transition, at }) }),
  };
}

const refused = (code: string, why: string): AlertStep => ({ outcome: 'refused', code, why });

/** Somebody must look at it: it calls. */
export const isCalling = (alert: Alert): boolean =>
  alert.state === 'unacknowledged' || alert.state === 'returned-unacknowledged';

/** Set aside by a person. */
export const isSetAside = (alert: Alert): boolean => SET_ASIDE.has(alert.state);
