/**
 * How conditions move alerts. Pure: time is an argument; the record before and what a finding says give the record after.
 * An alert rests on its newest evidence: what is older changes nothing. A statement that contradicts what the alert says must stand
 * for a time before it holds (on-delay and off-delay of IEC 62682 / ISA-18.2, from memory), so that an alert does not flap.
 */
import { type Condition, contradicts, instant, pendingCondition, pendingOf } from './alert-condition';
import { nextState } from './alert-states';
import { type AlertStep, type Draft, next, transition, UNCHANGED } from './alert-transition';
import { parseInstant } from './instant';
import type { Alert } from './records';

/** How long a contrary statement must stand, seconds: before an alert is raised, and before a raised one changes or returns. */
export interface AlertDelays {
  readonly onS: number;
  readonly offS: number;
}

export const NO_DELAYS: AlertDelays = Object.freeze({ onS: 0, offS: 0 });

/**
 * What a condition does to an alert.
 * @param before the alert as it is; undefined when there is none yet
 */
export function applyCondition(
  before: Alert | undefined,
  condition: Condition,
  nowUs: number,
  delays: AlertDelays = NO_DELAYS,
): AlertStep {
  if (!before) return condition.active ? contradict(fresh(condition), condition, nowUs, delays) : UNCHANGED;
  if (parseInstant(condition.evidenceAt) < newestUs(before)) return UNCHANGED;
  if (contradicts(condition, before)) return contradict(before, condition, nowUs, delays);
  if (condition.active) return confirm(before, condition, nowUs);
  return before.pending?.active ? standDown(before, nowUs) : UNCHANGED;
}

/** What time alone does: a shelf ends, a contrary statement has stood long enough. One step a call; unchanged when nothing is due. */
export function applyDue(before: Alert, nowUs: number): AlertStep {
  const { state, shelvedUntil, pending } = before;
  // First what the condition is, so that an alert whose condition is gone does not call when its shelf ends.
  if (pending && parseInstant(pending.dueAt) <= nowUs) return hold(before, pendingCondition(before, pending), nowUs);
  if (state === 'shelved' && shelvedUntil !== undefined && parseInstant(shelvedUntil) <= nowUs) {
    const back = nextState(state, 'shelf-end', before.active)!;
    return transition({ ...next(before), state: back, transition: 'shelf-ended' }, nowUs);
  }
  return UNCHANGED;
}

/** Instant of the newest evidence that the alert knows, microseconds. */
export const newestUs = ({ evidenceAt, pending }: Alert): number =>
  Math.max(parseInstant(evidenceAt), pending ? parseInstant(pending.evidenceAt) : Number.NEGATIVE_INFINITY);

/** The alert of which nothing is known yet. */
function fresh(c: Condition): Alert {
  const { key, category, subject, priority, says, text, caution } = c;
  const said = { key, category, subject, priority, says, text, caution };
  const at = instant(c.evidenceAt);
  const blank = { active: false, state: 'normal', transition: 'none', revision: 0, count: 1 } as const;
  return { kind: 'alert', id: '', at, from: [], ...said, ...blank, since: at, evidenceAt: at };
}

function contradict(before: Alert, c: Condition, nowUs: number, delays: AlertDelays): AlertStep {
  const pending = before.pending?.active === c.active ? before.pending : undefined;
  const sinceUs = parseInstant(pending?.since ?? c.evidenceAt);
  const delayUs = 1e6 * (before.active ? delays.offS : delays.onS);
  // What already spans the delay in evidence need not wait for the clock: readings far apart do not flap.
  const startUs = before.active ? Math.min(sinceUs, parseInstant(before.evidenceAt)) : sinceUs;
  const leftUs = delayUs - (parseInstant(c.evidenceAt) - startUs);
  if (leftUs <= 0) return hold(before, c, nowUs);
  const dueUs = Math.min(nowUs + leftUs, pending ? parseInstant(pending.dueAt) : Number.POSITIVE_INFINITY);
  const delayed = { pending: pendingOf(c, sinceUs, dueUs), transition: 'delayed' };
  return transition({ ...next(before), ...delayed }, nowUs);
}

/** The contrary statement holds from now on. */
function hold(before: Alert, c: Condition, nowUs: number): AlertStep {
  const since = before.pending?.active === c.active ? before.pending.since : instant(c.evidenceAt);
  const draft = c.active ? raised(before, c, since) : returned(before, c, since);
  return transition(lasting(draft, c, nowUs), nowUs);
}

function raised(before: Alert, c: Condition, since: string): Draft {
  const again = before.active;
  return {
    ...spoken(before, c),
    active: true,
    priority: c.priority,
    says: c.says,
    text: c.text,
    caution: c.caution,
    state: nextState(before.state, 'raise', before.active)!,
    transition: again ? 'changed' : 'raised',
    since: again ? before.since : since,
    count: before.state === 'normal' ? 1 : before.count + 1,
  };
}

function returned(before: Alert, c: Condition, since: string): Draft {
  return {
    ...spoken(before, c),
    active: false,
    text: `${c.text}. Before: ${before.text}`,
    state: nextState(before.state, 'return', before.active)!,
    transition: 'returned',
    since,
  };
}

const confirm = (before: Alert, c: Condition, nowUs: number): AlertStep =>
  transition(lasting({ ...spoken(before, c), text: c.text, transition: 'repeated' }, c, nowUs), nowUs);

const standDown = (before: Alert, nowUs: number): AlertStep =>
  transition({ ...withoutPending(next(before)), transition: 'not-raised' }, nowUs);

/** The next record with the evidence of the condition, and no delay running. */
const spoken = (before: Alert, c: Condition): Draft => ({
  ...withoutPending(next(before)),
  from: [...c.from],
  evidenceAt: instant(c.evidenceAt),
  ...(c.frame === undefined ? {} : { frame: c.frame }),
});

/** With the end that comes by itself, where the condition has one. */
function lasting(draft: Draft, c: Condition, nowUs: number): Draft {
  if (!c.active || c.endsAfterS === undefined) return draft;
  const { endsAfterS: _once, ...over } = c;
  const text = `${draft.subject}: not said again for ${c.endsAfterS / 60} minutes`;
  return { ...draft, pending: pendingOf({ ...over, active: false, text }, nowUs, nowUs + c.endsAfterS * 1e6) };
}

function withoutPending({ pending: _pending, ...rest }: Draft): Draft {
  return rest;
}
