/**
 * Keys under which the ledger has no alert, as far as it was asked: most findings say that something which is no alert does not hold. Only
 * where nobody else writes into the ledger without our hearing of it.
 */
import type { Ledger } from '../ledger/ledger';

/** Keys remembered; past that all are forgotten, and asked for again. */
const MOST = 100_000;

export class Absent {
  private readonly keys = new Set<string>();
  private heard = 0;

  constructor(private readonly ledger: Ledger) {}

  /** An alert was saved under this key, whoever did it. */
  saved(key: string): void {
    this.heard++;
    this.keys.delete(key);
  }

  /** There is no alert under this key. */
  has(key: string): boolean {
    return this.keys.has(key);
  }

  /** Which of these keys have an alert. */
  async known(keys: readonly string[]): Promise<ReadonlySet<string>> {
    const open = keys.filter((key) => !this.keys.has(key));
    if (open.length === 0) return NONE;
    const before = this.heard;
    const known = new Set((await this.ledger.alerts({ keys: open })).map((alert) => alert.key));
    // What was saved while the ledger was asked may be missing in the answer.
    if (before === this.heard && !this.ledger.sharing) this.remember(open.filter((key) => !known.has(key)));
    return known;
  }

  private remember(keys: readonly string[]): void {
    if (this.keys.size + keys.length > MOST) this.keys.clear();
    for (const key of keys) this.keys.add(key);
  }
}

const NONE: ReadonlySet<string> = new Set();
