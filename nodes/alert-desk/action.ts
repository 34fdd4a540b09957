/** An operator's action as it comes in msg.payload. */
import type { OperatorAction } from '../../lib/alert-life-cycle';
import { Trouble } from '../kit/trouble';

const ACTIONS = [
  'acknowledge',
  'shelve',
  'unshelve',
  'suppress',
  'unsuppress',
  'out-of-service',
  'in-service',
  'comment',
] as const;
const LONGEST_SHELF_MIN = 7 * 24 * 60;

export const isAction = (payload: unknown): payload is Record<string, unknown> =>
  typeof payload === 'object' && payload !== null && 'action' in payload;

/** @throws Trouble that says which member is wrong and what would be right */
export function readAction(payload: Record<string, unknown>, nowUs: number): { key: string; action: OperatorAction } {
  const { action, key, by } = payload;
  if (!ACTIONS.includes(action as 'comment')) {
    throw new Trouble(
      'action-unknown',
      `msg.payload.action is ${JSON.stringify(action)}; it must be one of ${ACTIONS.join(', ')}`,
    );
  }
  if (typeof key !== 'string' || key === '')
    throw new Trouble('key-missing', 'msg.payload.key must be the key of an alert, category:subject');
  if (typeof by !== 'string' || by.trim() === '')
    throw new Trouble('by-missing', 'msg.payload.by must say who does it');
  const comment = text(payload.comment ?? payload.reason);
  const told = { action, by: by.slice(0, 200), ...(comment === undefined ? {} : { comment }) };
  if (action !== 'shelve') return { key, action: told as OperatorAction };
  return { key, action: { ...told, untilUs: nowUs + minutes(payload.minutes) * 60e6 } as OperatorAction };
}

function text(value: unknown): string | undefined {
  if (value === undefined || value === null) return undefined;
  if (typeof value !== 'string' || value.length > 2000)
    throw new Trouble('comment-invalid', 'msg.payload.comment must be a text of at most 2000 characters');
  return value;
}

function minutes(value: unknown): number {
  const n = Number(value);
  if (value === undefined || !Number.isFinite(n) || n <= 0 || n > LONGEST_SHELF_MIN) {
    throw new Trouble(
      'minutes-invalid',
      `msg.payload.minutes is ${JSON.stringify(value) ?? 'missing'}; it must be a number above 0, at most ${LONGEST_SHELF_MIN} (seven days)`,
    );
  }
  return n;
}
