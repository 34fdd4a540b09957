/** What the ledger tells those who watch from outside. A ledger that nobody uses is not opened for it. */
import type { VitalSigns } from '../kit/vital-signs';
import type { Ledger } from './ledger';
import type { LedgerKeeper } from './ledger-keeper';

export function ledgerSigns(keeper: LedgerKeeper): VitalSigns {
  return {
    gauges: async () => (keeper.ledger ? gauges(keeper.ledger) : {}),
    async trouble() {
      if (!keeper.ledger) return keeper.openingTrouble;
      const { ok, error } = await keeper.ledger.health();
      return ok ? undefined : error;
    },
  };
}

async function gauges(ledger: Ledger): Promise<Record<string, number>> {
  const { ok: _ok, error: _error, ...counts } = await ledger.health();
  const [oldest] = await ledger.deliveries({ state: 'waiting', limit: 1 });
  const oldestDeliveryS = oldest ? Math.max(0, Date.now() / 1000 - oldest.enqueuedAtUs / 1e6) : 0;
  return { ...counts, oldestDeliveryS };
}
