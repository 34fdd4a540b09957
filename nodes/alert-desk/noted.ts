/**
 * Alerts that were said again. That they rest on newer evidence now is kept in memory and stored once a minute of evidence: a transition
 * for each reading of a fault would bury the history. What a crash loses of it the ledger still has as findings.
 */
import { parseInstant } from '../../lib/instant';
import type { Alert } from '../../lib/records';

const STORED_EVERY_US = 60e6;

export class Noted {
  private readonly alerts = new Map<string, Alert>();

  /** The alert as it stands, with the newest evidence known. */
  over(stored: Alert): Alert {
    const noted = this.alerts.get(stored.key);
    if (!noted) return stored;
    if (noted.revision === stored.revision) return noted;
    this.alerts.delete(stored.key);
    return stored;
  }

  /** True when it is enough to note this step; otherwise it must be stored. */
  takes(stored: Alert, step: Alert): boolean {
    const isWorthStoring =
      step.transition !== 'repeated' ||
      stored.pending?.active !== step.pending?.active ||
      parseInstant(step.evidenceAt) - parseInstant(stored.evidenceAt) >= STORED_EVERY_US;
    if (isWorthStoring) this.alerts.delete(stored.key);
    else this.alerts.set(stored.key, { ...step, revision: stored.revision });
    return !isWorthStoring;
  }
}
