/** How many alerts are open and how many of them nobody has seen, without asking the ledger each time. */
import { isCalling } from '../../lib/alert-transition';
import type { Alert } from '../../lib/records';

export class OpenAlerts {
  private calling = new Map<string, boolean>();
  /** noted while the ledger was asked */
  private meanwhile: Alert[] | undefined = [];

  get open(): number {
    return this.calling.size;
  }

  get unseen(): number {
    let n = 0;
    for (const calls of this.calling.values()) if (calls) n++;
    return n;
  }

  note(alert: Alert): void {
    this.meanwhile?.push(alert);
    if (alert.state === 'normal') this.calling.delete(alert.key);
    else this.calling.set(alert.key, isCalling(alert));
  }

  /** Begins with what the ledger says; what is noted from now on holds on top of it. */
  async begin(asked: Promise<readonly Alert[]>): Promise<void> {
    this.calling = new Map((await asked).map((alert) => [alert.key, isCalling(alert)]));
    const { meanwhile = [] } = this;
    this.meanwhile = undefined;
    for (const alert of meanwhile) this.note(alert);
  }
}
