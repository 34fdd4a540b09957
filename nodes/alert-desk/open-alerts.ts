/** How many alerts are open and how many of them nobody has seen, without asking the ledger each time. */
import { isCalling } from '../../lib/alert-transition';
import type { Alert } from '../../lib/records';

export class OpenAlerts {
  private calling = new Map<string, boolean>();

  get open(): number {
    return this.calling.size;
  }

  get unseen(): number {
    let n = 0;
    for (const calls of this.calling.values()) if (calls) n++;
    return n;
  }

  note(alert: Alert): void {
    if (alert.state === 'normal') this.calling.delete(alert.key);
    else this.calling.set(alert.key, isCalling(alert));
  }

  /** What the ledger says: other workers have made transitions too. */
  replace(open: readonly Alert[]): void {
    this.calling = new Map(open.map((alert) => [alert.key, isCalling(alert)]));
  }
}
