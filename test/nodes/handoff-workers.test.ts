import { expect } from 'chai';
import { Carrier } from '../../nodes/handoff/carrier';
import { httpTarget } from '../../nodes/handoff/http-target';
import { PostgresLedger } from '../../nodes/ledger/postgres/postgres-ledger';
import { type PostgresServer, startPostgres } from '../kit/postgres';
import { type Webhook, webhook } from '../kit/webhook';
import { rejection } from './ledger-samples';

const REFUSALS = 5;
const SUBJECTS = 12;

/** A handoff of one of several workers on one PostgreSQL ledger, with connections of its own, as several Node-RED processes have. */
function worker(name: string, ledger: PostgresLedger, url: string) {
  const abandoned: string[] = [];
  const troubles: Error[] = [];
  const carrier = new Carrier(
    ledger,
    httpTarget({ url, source: `urn:worker:${name}`, timeoutMs: 2000 }),
    { destination: 'd', firstPauseMs: 20, longestPauseMs: 50, refusals: REFUSALS, maxAgeMs: 0, leaseMs: 7000 },
    {
      accepted: () => {},
      abandoned: ({ key }) => abandoned.push(key),
      state: () => {},
      trouble: (cause) => troubles.push(cause),
    },
  );
  return { carrier, abandoned, troubles };
}

describe('handoff, several workers on one ledger', function () {
  this.timeout(60_000);
  let server: PostgresServer;
  let hook: Webhook;
  before(async () => {
    server = await startPostgres();
    hook = await webhook();
  });
  after(async () => {
    await hook.close();
    await server.stop();
  });

  it('gives a delivery up after so many refusals, whichever of them offered it', async () => {
    const ledgers = [1, 2].map(() => new PostgresLedger({ connection: server.connection }));
    for (const ledger of ledgers) await ledger.open();
    const records = Array.from({ length: SUBJECTS }, (_, n) => rejection(`t/${n}`, n));
    await ledgers[0]!.enqueue(
      records.map((record, n) => ({ destination: 'd', key: record.id, subject: `s${n}`, record })),
    );
    const offeredBy = new Map<string, Set<string>>();
    hook.reply = ({ body }) => {
      const { id, source } = JSON.parse(body) as { id: string; source: string };
      offeredBy.set(id, (offeredBy.get(id) ?? new Set()).add(source));
      return { status: 422, delayMs: 5 };
    };
    const workers = ledgers.map((ledger, n) => worker(String(n), ledger, hook.url));
    for (let i = 0; i < 1000; i++) {
      if ((await ledgers[0]!.deliveries({ state: 'abandoned' })).length === SUBJECTS) break;
      for (const { carrier } of workers) carrier.poke();
      await new Promise((r) => setTimeout(r, 20));
    }
    await Promise.all(workers.map(({ carrier }) => carrier.close()));
    expect(workers.flatMap((w) => w.troubles)).to.deep.equal([]);
    expect(workers.flatMap((w) => w.abandoned).sort()).to.deep.equal(records.map((r) => r.id).sort());
    const offers = new Map<string, number>();
    for (const { body } of hook.received) {
      const { id } = JSON.parse(body) as { id: string };
      offers.set(id, (offers.get(id) ?? 0) + 1);
    }
    expect([...offers.values()]).to.deep.equal(Array(SUBJECTS).fill(REFUSALS));
    const byBoth = [...offeredBy.values()].filter((by) => by.size === 2).length;
    expect(byBoth, 'deliveries that both offered').to.be.at.least(1);
    await Promise.all(ledgers.map((ledger) => ledger.close()));
  });
});
