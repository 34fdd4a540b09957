/** How a ledger is, and how much it holds. */

export interface LedgerHealth {
  readonly ok: boolean;
  /** last error, or empty */
  readonly error: string;
  /** records accepted by keep() and not yet committed */
  readonly pending: number;
  readonly readings: number;
  readonly rejections: number;
  readonly findings: number;
  readonly alertsOpen: number;
  readonly deliveriesWaiting: number;
}

/** Of a ledger that is not open; why, where that is known. */
export const notOpen = (label: string, why = `ledger ${label} is not open`): LedgerHealth => ({
  ok: false,
  error: why,
  pending: 0,
  readings: 0,
  rejections: 0,
  findings: 0,
  alertsOpen: 0,
  deliveriesWaiting: 0,
});
