/** An operator's action as it comes in msg.payload, or from the board. */
import { ALERT_ACTIONS, type OperatorAction } from '../../lib/alert-actions';
import { Trouble } from '../kit/trouble';

const LONGEST_SHELF_MIN = 7 * 24 * 60;
const LONGEST_NAME = 200;
const LONGEST_COMMENT = 2000;

export type ActionRequest = Readonly<Record<string, unknown>>;

export const isAction = (payload: unknown): payload is ActionRequest =>
  typeof payload === 'object' && payload !== null && 'action' in payload;

/** @throws Trouble that says which member is wrong and what would be right */
export function readAction(request: ActionRequest, nowUs: number): { key: string; action: OperatorAction } {
  const { action, key, by } = request;
  if (!ALERT_ACTIONS.includes(action as 'comment')) {
    throw new Trouble(
      'action-unknown',
      `msg.payload.action is ${JSON.stringify(action)}; it must be one of ${ALERT_ACTIONS.join(', ')}`,
    );
  }
  if (typeof key !== 'string' || key === '')
    throw new Trouble('key-missing', 'msg.payload.key must be the key of an alert, as in the alert record');
  if (typeof by !== 'string' || by.trim() === '' || by.length > LONGEST_NAME)
    throw new Trouble('by-missing', `msg.payload.by must say who does it, in at most ${LONGEST_NAME} characters`);
  const comment = words(request.comment ?? request.reason);
  const told = { action, by: by.trim(), ...(comment === undefined ? {} : { comment }) };
  if (action !== 'shelve') return { key, action: told as OperatorAction };
  return { key, action: { ...told, untilUs: nowUs + Math.round(minutes(request.minutes) * 60e6) } as OperatorAction };
}

function words(value: unknown): string | undefined {
  if (value === undefined || value === null) return undefined;
  if (typeof value !== 'string' || value.length > LONGEST_COMMENT)
    throw new Trouble(
      'comment-invalid',
      `msg.payload.reason (or comment) must be a text of at most ${LONGEST_COMMENT} characters`,
    );
  return value;
}

function minutes(value: unknown): number {
  const n = typeof value === 'string' && value.trim() !== '' ? Number(value) : value;
  if (typeof n === 'number' && n > 0 && n <= LONGEST_SHELF_MIN) return n;
  throw new Trouble(
    'minutes-invalid',
    `msg.payload.minutes is ${JSON.stringify(value) ?? 'missing'}; it must be a number above 0, at most ${LONGEST_SHELF_MIN} (seven days)`,
  );
}
