/** What may be asked of the records and alerts of a ledger, and what comes back. */
import type { Alert, PhaseloomRecord } from '../../lib/records';

export interface RecordQuery {
  readonly kinds?: readonly PhaseloomRecord['kind'][];
  readonly ids?: readonly string[];
  /** terminal, site, open point, reference: exact, or a path prefix ending in '/' */
  readonly subject?: string;
  /** readings by this instrument, and the findings that rest directly on them */
  readonly instrument?: string;
  /** readings taken by these people, the findings that rest directly on them, and the alert transitions they made */
  readonly by?: string;
  /** bounds, both included, of the time the record speaks of: takenAt of a reading, `at` of all others */
  readonly fromUs?: number;
  readonly toUs?: number;
  /**
   * Only what holds now: the newest finding of each kind and subject, the last transition of each alert.
   * Readings and rejections are never superseded: they come only when `kinds` names them.
   */
  readonly currentOnly?: boolean;
  /** records a page, 1 to 10 000; 1000 when left out */
  readonly limit?: number;
  /** opaque, from the previous page of the same query */
  readonly after?: string;
  /** by that same time, ties in the order of storing; oldest first when left out */
  readonly order?: 'oldest-first' | 'newest-first';
}

export interface RecordPage {
  readonly records: readonly PhaseloomRecord[];
  readonly next?: string;
}

export interface AlertQuery {
  readonly keys?: readonly string[];
  /** those whose state is not normal */
  readonly openOnly?: boolean;
  /** those that time alone moves before then: a shelf ends, a delay is over */
  readonly dueBeforeUs?: number;
}

export interface AlertListQuery {
  /** those whose state is not normal */
  readonly openOnly?: boolean;
  /** alerts passed over */
  readonly offset: number;
  readonly limit: number;
  /** an alert to be found whatever its place */
  readonly key?: string;
}

/** A stretch of the alerts, ordered: calling states first, then high priority, then the newest condition. */
export interface AlertList {
  readonly alerts: readonly Alert[];
  /** all that fit, and those of them that nobody has acknowledged */
  readonly count: number;
  readonly calling: number;
  /** the alert asked for by its key, and its place among all; null: it does not fit */
  readonly named: { readonly place: number; readonly alert: Alert } | null;
}
