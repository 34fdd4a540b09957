import { expect } from 'chai';
import { conditionsOf } from '../../lib/alert-rules';
import type { Alert } from '../../lib/records';
import { Announcer } from '../../nodes/alert-desk/announcer';
import { Desk } from '../../nodes/alert-desk/desk';
import { Lanes, laneOf } from '../../nodes/alert-desk/lanes';
import type { Ledger } from '../../nodes/ledger/ledger';
import { PostgresLedger } from '../../nodes/ledger/postgres/postgres-ledger';
import { type PostgresServer, startPostgres } from '../kit/postgres';
import { comparisonAt } from './alert-samples';

/** Several workers of one desk on one PostgreSQL ledger, each with connections of its own, as several Node-RED processes have. */
const nowUs = () => Date.now() * 1000;
const pause = (ms: number) => new Promise((r) => setTimeout(r, ms));

class Worker {
  readonly desk: Desk;
  readonly announcer: Announcer;
  readonly troubles: Error[] = [];

  constructor(
    readonly ledger: Ledger,
    sent: Alert[],
  ) {
    const lanes = new Lanes(ledger, 'desk');
    const trouble = (cause: Error) => this.troubles.push(cause);
    this.announcer = new Announcer(lanes, {
      perMinute: 100_000,
      nowUs: () => ledger.clockUs(),
      steadyUs: () => performance.now() * 1000,
      send: (alert) => sent.push(alert),
      flood: () => undefined,
      trouble,
    });
    this.desk = new Desk(ledger, {
      nowUs,
      delays: { onS: 0, offS: 0 },
      tell: (alert) => [lanes.deliveryOf(alert)],
      saved: (alert) => this.announcer.poke(laneOf(alert)),
      trouble,
    });
  }

  async close(): Promise<void> {
    await this.desk.close();
    await this.announcer.close();
    await this.ledger.close();
  }
}

describe('alert desk, several workers on one ledger', function () {
  this.timeout(60_000);
  let server: PostgresServer;
  let schemas = 0;
  const sent: Alert[] = [];
  const openLedger = async () => {
    const ledger = new PostgresLedger({ connection: server.connection, schema: `desk_${schemas}` });
    await ledger.open();
    return ledger;
  };
  const worker = async () => new Worker(await openLedger(), sent);
  before(async () => {
    server = await startPostgres();
  });
  beforeEach(() => {
    schemas++;
    sent.length = 0;
  });
  after(() => server?.stop());

  it('lose no transition of each other, and send each once, those of one alert in their order', async () => {
    const workers = [await worker(), await worker()];
    const asked: Promise<unknown>[] = [];
    for (let i = 0; i < 120; i++) {
      const finding = comparisonAt(i, `P${i % 6}`, Math.floor(i / 6) % 2 ? 'same-phase' : 'not-the-same-phase');
      for (const c of conditionsOf(finding)) asked.push(workers[i % 2]!.desk.condition(c));
      if (i % 12 === 11) await pause(20);
    }
    await Promise.all(asked);
    const { ledger } = workers[0]!;
    const saved = await ledger.alertTransitionsAfter(0, 1000);
    for (const end = Date.now() + 40_000; sent.length < saved.length && Date.now() < end; ) await pause(50);
    await pause(300);
    expect(sent.map((a) => a.id).sort()).to.deep.equal(saved.map((t) => t.alert.id).sort());
    const revisions = Map.groupBy(sent, (a) => a.key);
    expect(revisions.size).to.equal(6);
    for (const [key, alerts] of revisions)
      expect(
        alerts.map((a) => a.revision),
        key,
      ).to.deep.equal(alerts.map((_, i) => i + 1));
    expect(workers.flatMap((w) => w.troubles)).to.deep.equal([]);
    await Promise.all(workers.map((w) => w.close()));
  });

  it('take over what a worker took and never sent', async () => {
    const dead = await openLedger();
    const lanes = new Lanes(dead, 'desk');
    const desk = new Desk(dead, {
      nowUs,
      delays: { onS: 0, offS: 0 },
      tell: (alert) => [lanes.deliveryOf(alert)],
      saved: () => undefined,
      trouble: () => undefined,
    });
    for (const c of conditionsOf(comparisonAt(0, 'P', 'not-the-same-phase'))) await desk.condition(c);
    const heir = await worker();
    expect((await lanes.claim('high', 10)).length).to.equal(1);
    await dead.close();
    heir.announcer.poke();
    await pause(200);
    expect(sent.length, 'not while it may still be sending').to.equal(0);
    for (const end = Date.now() + 20_000; sent.length < 1 && Date.now() < end; ) await pause(20);
    expect(sent.map((a) => a.key)).to.deep.equal(['tie-mismatch:P']);
    await heir.close();
  });
});
