/** What a finding says about one alert, before it is known what that does to the alert. */
import { formatInstant, parseInstant } from './instant';
import type { Alert, AlertCategory, PendingStatement, Priority } from './records';

/** What a finding says about one alert key. */
export interface Condition {
  readonly key: string;
  readonly category: AlertCategory;
  readonly subject: string;
  readonly priority: Priority;
  readonly active: boolean;
  /** the statement without its figures: the same one again does not call again */
  readonly says: string;
  /** the statement for people */
  readonly text: string;
  readonly caution: string;
  /** ids of the records it rests on */
  readonly from: readonly string[];
  /** instant of the evidence, RFC 3339 */
  readonly evidenceAt: string;
  readonly frame?: Alert['frame'];
  /** taken for gone when it has not been said again for so long, seconds; left out: only a contrary finding ends it */
  readonly endsAfterS?: number;
}

/** Whether it says something else than the alert does now. */
export const contradicts = (condition: Condition, alert: Alert): boolean =>
  condition.active !== alert.active || (condition.active && condition.says !== alert.says);

/** A statement that has to stand until it is due. */
export const pendingOf = (c: Condition, sinceUs: number, dueUs: number): PendingStatement => ({
  active: c.active,
  says: c.says,
  text: c.text,
  priority: c.priority,
  from: [...c.from],
  ...(c.frame === undefined ? {} : { frame: c.frame }),
  since: formatInstant(sinceUs),
  evidenceAt: instant(c.evidenceAt),
  dueAt: formatInstant(Math.round(dueUs)),
  ...(c.endsAfterS === undefined ? {} : { endsAfterS: c.endsAfterS }),
});

/** The condition that a pending statement was made by. */
export function pendingCondition(
  { key, category, subject, caution = '' }: Alert,
  pending: PendingStatement,
): Condition {
  return { key, category, subject, caution, ...pending };
}

/** One way of writing an instant, whatever way it was written. */
export const instant = (text: string): string => formatInstant(parseInstant(text));
