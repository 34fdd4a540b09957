/**
 * The states of an alert and the events that move it: the state transition diagram of IEC 62682 / ANSI/ISA-18.2, from memory.
 * Letters in the comments are those of the diagram's states: A normal, B unacknowledged, C acknowledged, D returned to normal
 * unacknowledged, G shelved, H suppressed by design, I out of service. Its latched states E and F have no counterpart here: an alert
 * of ours returns only on new proven evidence, whoever has acknowledged it.
 */
import type { AlertState } from './records';

/**
 * raise: the condition comes, or says something new; repeat: the same said again; return: the condition goes;
 * all others but shelf-end are done by people.
 */
export type AlertEvent =
  | 'raise'
  | 'repeat'
  | 'return'
  | 'acknowledge'
  | 'shelve'
  | 'unshelve'
  | 'shelf-end'
  | 'suppress'
  | 'unsuppress'
  | 'out-of-service'
  | 'in-service'
  | 'comment';

/** back: to where the condition stands now, unacknowledged when it is present and normal when it is not. */
type Target = AlertState | 'back';
type Row = Readonly<Partial<Record<AlertEvent, Target>>>;

/** Ways out of the alarm states, to where nobody is called. */
const ASIDE: Row = { shelve: 'shelved', suppress: 'suppressed-by-design', 'out-of-service': 'out-of-service' };

/** The condition is followed, and whoever set the alert aside stays uncalled. */
const followed = (state: AlertState): Row => ({ raise: state, repeat: state, return: state, comment: state });

const DIAGRAM: Readonly<Record<AlertState, Row>> = {
  // A -> B alarm occurs
  normal: { ...ASIDE, raise: 'unacknowledged', comment: 'normal' },
  // B -> C acknowledge; B -> D return to normal
  unacknowledged: {
    ...ASIDE,
    ...followed('unacknowledged'),
    return: 'returned-unacknowledged',
    acknowledge: 'acknowledged',
  },
  // C -> A return to normal; C -> B re-alarm, when the condition says something that nobody has acknowledged
  acknowledged: { ...ASIDE, ...followed('acknowledged'), raise: 'unacknowledged', return: 'normal' },
  // D -> A acknowledge; D -> B alarm occurs again
  'returned-unacknowledged': {
    ...ASIDE,
    raise: 'unacknowledged',
    acknowledge: 'normal',
    comment: 'returned-unacknowledged',
  },
  // G -> A or B unshelve, by a person or when its time is over
  shelved: {
    ...followed('shelved'),
    shelve: 'shelved',
    unshelve: 'back',
    'shelf-end': 'back',
    'out-of-service': 'out-of-service',
  },
  // H -> A or B unsuppress
  'suppressed-by-design': {
    ...followed('suppressed-by-design'),
    unsuppress: 'back',
    'out-of-service': 'out-of-service',
  },
  // I -> A or B return to service
  'out-of-service': { ...followed('out-of-service'), 'in-service': 'back' },
};

/**
 * The state after an event, or undefined when that event is not for that state.
 * @param active whether the condition is present (before the event; for `back`)
 * @example nextState('unacknowledged', 'acknowledge', true) // 'acknowledged'
 * @example nextState('shelved', 'unshelve', false) // 'normal'
 * @example nextState('acknowledged', 'acknowledge', true) // undefined
 */
export function nextState(state: AlertState, event: AlertEvent, active: boolean): AlertState | undefined {
  const target = DIAGRAM[state][event];
  if (target !== 'back') return target;
  return active ? 'unacknowledged' : 'normal';
}

/**
 * The states in which an event is possible.
 * @example statesFor('in-service') // ['out-of-service']
 */
export const statesFor = (event: AlertEvent): readonly AlertState[] =>
  (Object.keys(DIAGRAM) as AlertState[]).filter((state) => DIAGRAM[state][event] !== undefined);

/** Nobody is called while an alert is in one of these. */
export const SET_ASIDE: ReadonlySet<AlertState> = new Set(['shelved', 'suppressed-by-design', 'out-of-service']);
