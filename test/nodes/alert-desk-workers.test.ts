import { expect } from 'chai';
import { conditionsOf } from '../../lib/alert-rules';
import type { Alert } from '../../lib/records';
import { Announcer } from '../../nodes/alert-desk/announcer';
import { Desk } from '../../nodes/alert-desk/desk';
import { Lanes, laneOf } from '../../nodes/alert-desk/lanes';
import { OpenDesk } from '../../nodes/alert-desk/open-desk';
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
      isShared: true,
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
    const { records: saved } = await ledger.records({ kinds: ['alert'] });
    for (const end = Date.now() + 40_000; sent.length < saved.length && Date.now() < end; ) await pause(50);
    await pause(300);
    expect(sent.map((a) => a.id).sort()).to.deep.equal(saved.map((alert) => alert.id).sort());
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

  describe('in a flood', () => {
    const troubles: string[] = [];
    const told: Alert[] = [];
    const limited = async (perMinute: number) => {
      const ledger = await openLedger();
      const send = ({ payload }: { payload: Alert }) => {
        (payload.category === 'alert-flood' ? told : sent).push(payload);
      };
      const open = await OpenDesk.at(ledger, {
        RED: { _: (key: string) => key },
        node: { id: 'desk', name: '', send, error: (text: string) => troubles.push(text) },
        light: { show: () => undefined },
        delays: { onS: 0, offS: 0 },
        perMinute,
        nowUs,
      } as never);
      return { ledger, open, close: () => open.close().then(() => ledger.close()) };
    };
    type Limited = Awaited<ReturnType<typeof limited>>;
    const raise = async ({ open }: Limited, count: number) => {
      const said = Array.from({ length: count }, (_, i) =>
        conditionsOf(comparisonAt(i, `P${i}`, 'not-the-same-phase')),
      );
      await Promise.all(said.flat().map((condition) => open.desk.condition(condition)));
    };
    const history = async ({ ledger }: Limited) =>
      (await ledger.alertHistory('alert-flood:desk')).map((a) => a.transition).filter((t) => t !== 'repeated');
    const until = async (what: string, holds: () => boolean | Promise<boolean>) => {
      for (const end = Date.now() + 20_000; Date.now() < end; await pause(50)) if (await holds()) return;
      throw new Error(`${what}: not within 20 s`);
    };
    beforeEach(() => {
      for (const list of [told, troubles]) list.length = 0;
    });

    it('say nothing of one where one of them may still send: what the other cannot send goes by it', async () => {
      const [full, free] = [await limited(3), await limited(100_000)];
      await raise(full, 30);
      await until('all are sent', () => sent.length === 30);
      await pause(2500);
      expect([await history(full), told, troubles]).to.deep.equal([[], [], []]);
      await Promise.all([full.close(), free.close()]);
    });

    it('say it once while it lasts and once when it is over, whoever says it', async () => {
      const [one, two] = [await limited(3), await limited(3)];
      await raise(one, 30);
      await until('it is said', async () => (await history(one)).length > 0);
      await pause(5000);
      expect(await history(one)).to.deep.equal(['raised']);
      expect(sent).to.have.length(6);
      await one.close();
      const relief = await limited(100_000);
      await until('all are sent', () => sent.length === 30);
      await until('it is over', async () => (await history(two)).length > 1);
      await pause(2500);
      expect(await history(two)).to.deep.equal(['raised', 'returned']);
      expect([told.map((a) => a.transition), troubles]).to.deep.equal([['raised', 'returned'], []]);
      await Promise.all([two.close(), relief.close()]);
    });

    it('say that it is over when the one that said it is gone', async () => {
      const one = await limited(3);
      await raise(one, 30);
      const other = await limited(3);
      await until('it is said', async () => (await history(one)).length > 0);
      await one.close();
      const relief = new Worker(await openLedger(), sent);
      relief.announcer.poke();
      await until('it is over', async () => (await history(other)).at(-1) === 'returned');
      await Promise.all([other.close(), relief.close()]);
    });
  });
});
