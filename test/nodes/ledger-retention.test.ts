import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { DatabaseSync } from 'node:sqlite';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from 'chai';
import pg from 'pg';
import { circularMean } from '../../lib/angle';
import type { Ledger } from '../../nodes/ledger/ledger';
import { PostgresLedger } from '../../nodes/ledger/postgres/postgres-ledger';
import { SqliteLedger } from '../../nodes/ledger/sqlite/sqlite-ledger';
import { type PostgresServer, startPostgres } from '../kit/postgres';
import { admitted, alert, at, identification, reading } from './ledger-samples';

const DAY = 86_400;
type Rows = Record<string, unknown>[];

interface Bench {
  readonly ledger: Ledger;
  query(sql: string): Promise<Rows>;
  destroy(): Promise<void>;
}

/** The clock stands on 12 August 2026; all that is older than 30 days is old. */
const NOW = at(100 * DAY);
const old = (terminal: string, n: number, more = {}) =>
  reading(terminal, n, { angleDeg: n % 20, voltageV: 100 + n, ...more });

async function sqliteBench(): Promise<Bench> {
  const folder = mkdtempSync(join(tmpdir(), 'phaseloom-retention-'));
  const file = join(folder, 'l.sqlite');
  const ledger = new SqliteLedger({ file, nowUs: () => NOW });
  await ledger.open();
  return {
    ledger,
    async query(sql) {
      const database = new DatabaseSync(file);
      try {
        return database.prepare(sql).all() as Rows;
      } finally {
        database.close();
      }
    },
    async destroy() {
      await ledger.close();
      rmSync(folder, { recursive: true, force: true });
    },
  };
}

let server: PostgresServer | undefined;
async function postgresBench(): Promise<Bench> {
  server ??= await startPostgres();
  const { sql, connection } = server;
  // Opened in May, so that the partitions of May are there.
  const may = new PostgresLedger({ connection, nowUs: () => at(0) });
  await may.open();
  await may.close();
  const ledger = new PostgresLedger({ connection, nowUs: () => NOW });
  await ledger.open();
  return {
    ledger,
    query: async (text) => (await sql(text)) as Rows,
    async destroy() {
      await ledger.close();
      await sql('drop schema phaseloom cascade');
    },
  };
}
after(() => server?.stop());

for (const [name, make] of [
  ['SQLite', sqliteBench],
  ['PostgreSQL', postgresBench],
] as const) {
  describe(`old readings in ${name}`, function () {
    this.timeout(60_000);
    let bench: Bench;
    let ledger: Ledger;
    beforeEach(async () => {
      bench = await make();
      ledger = bench.ledger;
    });
    afterEach(() => bench.destroy());
    const query = (sql: string) =>
      bench.query(name === 'SQLite' ? sql : sql.replaceAll(/\b(from|update) (\w+)/g, '$1 phaseloom.$2'));
    const ids = async () => (await ledger.readingsAfter(0, 10_000)).map((s) => s.reading.id);

    it('are summed up by terminal and day and let go; the young stay', async () => {
      const readings = Array.from({ length: 1200 }, (_, n) => old(`s/${n % 2}`, n));
      const young = reading('s/1', 99 * DAY);
      for (let i = 0; i < 1200; i += 400) await ledger.admit(readings.slice(i, i + 400).map(admitted), []);
      await ledger.admit([admitted(young)], []);
      expect(await ledger.letGo(30)).to.deep.equal({ letGo: 1200, held: 0 });
      expect(await ids()).to.deep.equal([young.id]);
      expect((await ledger.health()).readings).to.equal(1);
      const rows = await query('select * from v1_reading_day order by terminal');
      expect(rows.map((r) => [r.terminal, r.day, r.against, Number(r.readings)])).to.deep.equal([
        ['s/0', '2026-05-04', 'utc', 600],
        ['s/1', '2026-05-04', 'utc', 600],
      ]);
      const even = readings.filter((_, n) => n % 2 === 0);
      expect(rows[0]!.mean_angle_deg).to.be.closeTo(circularMean(even.map((r) => r.angleDeg!)), 1e-9);
      expect(rows[0]!.mean_voltage_v).to.be.closeTo(100 + 599, 1e-9);
      expect(await ledger.letGo(30)).to.deep.equal({ letGo: 0, held: 0 });
    });

    it('stay while their door has not sent them into the flow', async () => {
      const readings = [0, 1, 2].map((n) => old('s/1', n));
      await ledger.admit(
        readings.map((r) => ({ ...admitted(r), door: 'in' })),
        [],
      );
      expect(await ledger.letGo(30)).to.deep.equal({ letGo: 0, held: 0 });
      const [, second] = await ledger.readingsAfter(0, 10);
      await ledger.advance('sent:in', second!.seq);
      expect((await ledger.letGo(30)).letGo).to.equal(2);
      expect(await ids()).to.deep.equal([readings[2]!.id]);
    });

    it('stay while a finding that holds, an open alert or a waiting delivery rests on them, also through others', async () => {
      const [free, found, superseded, alarmed, delivered, through] = [0, 1, 2, 3, 4, 5].map((n) => old('s/1', n)) as [
        ReturnType<typeof old>,
        ReturnType<typeof old>,
        ReturnType<typeof old>,
        ReturnType<typeof old>,
        ReturnType<typeof old>,
        ReturnType<typeof old>,
      ];
      await ledger.admit([free, found, superseded, alarmed, delivered, through].map(admitted), []);
      await ledger.keep(identification('s/1', 5, { from: [superseded.id] }));
      const past = identification('s/2', 5, { from: [through.id] });
      await ledger.keep(past);
      await ledger.keep(identification('s/1', 6, { from: [found.id] }));
      await ledger.keep(identification('s/2', 7));
      await ledger.saveAlert(alert('k', 1, 10, { from: [alarmed.id, past.id] }));
      await ledger.enqueue([{ destination: 'd', key: 'x', subject: 's', record: delivered }]);
      expect(await ledger.letGo(30)).to.deep.equal({ letGo: 2, held: 4 });
      expect(await ids()).to.deep.equal([found, alarmed, delivered, through].map((r) => r.id));
      expect((await query('select reading_id from v1_reading_held')).map((r) => r.reading_id)).to.have.members(
        await ids(),
      );
      expect(Number((await query('select sum(readings) as n from v1_reading_day'))[0]!.n)).to.equal(6);
      expect(await ledger.verify()).to.deep.include({ intact: true });

      await ledger.saveAlert(
        alert('k', 2, 20, { state: 'normal', active: false, transition: 'returned', from: [alarmed.id] }),
      );
      const [due] = await ledger.claimDue('d', 1, 30_000);
      await ledger.accepted(due!.seq, NOW, '200');
      expect(await ledger.letGo(30)).to.deep.equal({ letGo: 3, held: 1 });
      expect(await ids()).to.deep.equal([found.id]);
      expect(
        Number((await query('select sum(readings) as n from v1_reading_day'))[0]!.n),
        'none counted twice',
      ).to.equal(6);
      expect(await ledger.verify()).to.deep.include({ intact: true });
    });

    it('leave a chain that is still followed, and says how many went, by whom and when', async () => {
      for (let batch = 0; batch < 6; batch++) {
        const young = reading('s/9', 99 * DAY + batch);
        await ledger.admit(
          [...Array.from({ length: 10 }, (_, n) => old('s/1', 100 * batch + n)), ...(batch % 2 ? [young] : [])].map(
            admitted,
          ),
          [],
        );
        await ledger.keep(identification('s/1', batch, batch === 0 ? { from: [old('s/1', 3).id] } : {}));
      }
      const { head } = await ledger.verify();
      await ledger.letGo(30);
      const found = await ledger.verify(head);
      expect(found).to.deep.include({ intact: true, broken: null });
      expect(found.letGo.readings).to.equal(60);
      expect(found.letGo.last[0]).to.include({
        by: 'retention of 30 days',
        at: '2026-08-12T10:15:30.000000Z',
        takenBefore: '2026-07-13T10:15:30.000000Z',
        readings: 60,
        held: 0,
      });
      expect(found.records).to.equal(3 + 6);
    });

    it('may be let go while the chain is followed, without a false alarm', async () => {
      // More links than are followed in one go.
      for (let n = 0; n < 1200; n++) await ledger.admit([admitted(old('s/1', n))], []);
      const following = ledger.verify();
      await ledger.letGo(30);
      expect((await following).broken).to.equal(null);
      expect(await ledger.verify()).to.deep.include({ intact: true, broken: null });
    });

    it('that are removed past the ledger are found out, also after others were let go', async () => {
      await ledger.admit([old('s/1', 0), reading('s/1', 99 * DAY), reading('s/2', 99 * DAY)].map(admitted), []);
      await ledger.admit([old('s/1', 5)].map(admitted), []);
      await ledger.letGo(30);
      expect(await ledger.verify()).to.deep.include({ intact: true });
      await query(`delete from reading where terminal = 's/2'`);
      const { broken } = await ledger.verify();
      expect(broken!.why).to.contain('a row of reading');
      expect(broken!.link).to.equal(1);
    });

    it('cannot be let go in secret: a forged note of it does not fit its link', async () => {
      await ledger.admit([old('s/1', 0), reading('s/2', 99 * DAY)].map(admitted), []);
      await ledger.letGo(30);
      await query(`delete from reading where terminal = 's/2'`);
      await query(`update chain_let_go set remaining = '-'`);
      expect((await ledger.verify()).broken!.why).to.contain('what this link says was let go was changed');
    });
  });
}

describe('old partitions', () => {
  it('go when nothing is left in them; what is held back moves to the default partition', async () => {
    const bench = await postgresBench();
    const [free, found] = [old('s/1', 0), old('s/1', 1)];
    await bench.ledger.admit([free, found].map(admitted), []);
    await bench.ledger.keep(identification('s/1', 6, { from: [found.id] }));
    expect(await bench.ledger.letGo(30)).to.deep.equal({ letGo: 1, held: 1 });
    const rows = await bench.query(
      `select relname from pg_class where relname like 'reading\\_2026%' and relkind = 'r' order by 1`,
    );
    expect(rows.map((r) => r.relname)).to.deep.equal([
      'reading_20260701',
      'reading_20260801',
      'reading_20260901',
      'reading_20261001',
    ]);
    expect(await bench.query('select tableoid::regclass::text as t from phaseloom.reading')).to.have.length(1);
    expect((await bench.ledger.admit([admitted(found)], [])).readings[0]!.isNew).to.equal(false);
    expect(await bench.ledger.verify()).to.include({ intact: true });
    await bench.destroy();
  });

  it('stay for now while somebody reads them for long (a backup), and nobody waits to write', async () => {
    const bench = await postgresBench();
    await bench.ledger.admit([admitted(old('s/1', 0))], []);
    const reader = new pg.Client({ connectionString: server!.connection });
    await reader.connect();
    await reader.query('begin; select count(*) from phaseloom.reading');
    const going = bench.ledger.letGo(30);
    const outcome = await Promise.race([going.then(() => 'let go'), sleep(20_000, 'waits', { ref: false })]);
    const stored = bench.ledger.admit([admitted(reading('s/1', 99 * DAY))], []).then(() => 'stored');
    const writing = await Promise.race([stored, sleep(20_000, 'waits', { ref: false })]);
    const parts = "select 1 from pg_inherits where inhrelid = to_regclass('phaseloom.reading_20260501')";
    const meanwhile = await bench.query(parts);
    await reader.query('rollback');
    await reader.end();
    await Promise.all([going, stored]);
    expect([outcome, writing, meanwhile.length]).to.deep.equal(['let go', 'stored', 1]);
    await bench.ledger.letGo(30);
    expect(await bench.query(parts)).to.deep.equal([]);
    expect((await bench.ledger.verify()).broken).to.equal(null);
    await bench.destroy();
  });
});
