/** What waits to be sent and nobody takes. */
import type { DueDelivery } from '../ledger/ledger';

export class HeldBack {
  private seenUs = new Map<number, number>();

  /** @param patienceUs where others may send it: how long it must have been seen waiting; each of them looks meanwhile */
  constructor(private readonly patienceUs: number) {}

  /** Those of what waits now that have waited for so long. */
  of(waiting: readonly DueDelivery[], nowUs: number): readonly DueDelivery[] {
    const before = this.seenUs;
    this.seenUs = new Map(waiting.map(({ seq }) => [seq, before.get(seq) ?? nowUs]));
    return waiting.filter(({ seq }) => this.seenUs.get(seq)! <= nowUs - this.patienceUs);
  }
}
