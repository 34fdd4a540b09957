/**
 * What the ledger says of alerts by key, also that there is none, remembered as far as it was asked: most findings say that something which
 * is no alert does not hold, and all of them speak of a few same things, such as their reference. Only where nobody else writes into the
 * ledger without our hearing of it.
 */
import DataLoader from 'dataloader';
import type { Alert } from '../../lib/records';
import type { Ledger } from '../ledger/ledger';

/** Keys remembered; past that all are forgotten, and asked for again. */
const MOST = 100_000;
/** The ledger has others to answer. */
const KEYS_AT_ONCE = 1000;

export class KnownAlerts {
  private readonly known = new Map<string, Alert | undefined>();
  /** saves heard of, and keys to be asked for anew */
  private changes = 0;
  /** Keys asked for within one turn of the event loop are asked for together. */
  private readonly asked = new DataLoader<string, Alert | undefined>((keys) => this.ask(keys), {
    cache: false,
    maxBatchSize: KEYS_AT_ONCE,
    batchScheduleFn: (send) => void setImmediate(send),
  });

  constructor(private readonly ledger: Ledger) {}

  /** The alerts there are under these keys. */
  async of(keys: readonly string[]): Promise<ReadonlyMap<string, Alert>> {
    const unknown = [...new Set(keys)].filter((key) => !this.known.has(key));
    const asked = new Map<string, Alert | undefined>();
    if (unknown.length > 0) {
      const answers = await Promise.all(unknown.map((key) => this.asked.load(key)));
      for (const [i, alert] of answers.entries()) asked.set(unknown[i]!, alert);
    }
    const found = new Map<string, Alert>();
    for (const key of keys) {
      const alert = this.known.get(key) ?? asked.get(key);
      if (alert) found.set(key, alert);
    }
    return found;
  }

  /** An alert was saved, whoever did it. */
  saved(alert: Alert): void {
    this.changes++;
    const before = this.known.get(alert.key);
    if (before && before.revision > alert.revision) return;
    this.remember(alert.key, alert);
  }

  /** The ledger has something else under this key. */
  forget(key: string): void {
    this.changes++;
    this.known.delete(key);
  }

  private async ask(keys: readonly string[]): Promise<(Alert | undefined)[]> {
    const before = this.changes;
    const found = new Map((await this.ledger.alerts({ keys })).map((alert) => [alert.key, alert]));
    // What was saved while the ledger was asked may be missing in the answer.
    if (before === this.changes) for (const key of keys) if (!this.known.has(key)) this.remember(key, found.get(key));
    return keys.map((key) => found.get(key));
  }

  private remember(key: string, alert: Alert | undefined): void {
    if (this.ledger.sharing) return;
    if (this.known.size >= MOST && !this.known.has(key)) this.known.clear();
    this.known.set(key, alert);
  }
}
