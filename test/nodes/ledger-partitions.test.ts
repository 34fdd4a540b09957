import { expect } from 'chai';
import fc from 'fast-check';
import { Kysely, Migrator, PostgresDialect, sql } from 'kysely';
import pg from 'pg';
import { formatInstant } from '../../lib/instant';
import { ledgerMigrations } from '../../nodes/ledger/migrations';
import { openSpans, STRETCHES, type Stretch, stretchAround } from '../../nodes/ledger/postgres/calendar';
import { postgresWords } from '../../nodes/ledger/postgres/dialect-words';
import { partitionsOf } from '../../nodes/ledger/postgres/partitions';
import { PostgresLedger } from '../../nodes/ledger/postgres/postgres-ledger';
import { type PostgresServer, startPostgres } from '../kit/postgres';
import { admitted, at, identification, reading, rejection } from './ledger-samples';

const DAY = 86_400;
const MONTH = 31 * DAY;

/** The outside: PostgreSQL's own calendar (date_trunc), its catalogue of partitions, and what plain SQL finds in each. */
describe('partitions of a PostgreSQL ledger', function () {
  this.timeout(60_000);
  let server: PostgresServer;
  let client: pg.Client;
  const ledgers: PostgresLedger[] = [];
  before(async () => {
    server = await startPostgres();
    client = new pg.Client({ connectionString: server.connection, options: '-c search_path=phaseloom' });
    await client.connect();
  });
  after(async () => {
    await client.end();
    await server.stop();
  });
  afterEach(async () => {
    for (const ledger of ledgers.splice(0)) await ledger.close();
    await server.sql('drop schema if exists phaseloom cascade');
  });

  async function open(options: { partition?: Stretch; nowUs?: () => number } = {}): Promise<PostgresLedger> {
    const ledger = new PostgresLedger({ connection: server.connection, nowUs: () => at(0), ...options });
    ledgers.push(ledger);
    await ledger.open();
    return ledger;
  }
  const rowsIn = async (table: string): Promise<Record<string, number>> => {
    const { rows } = await client.query(
      `select tableoid::regclass::text as t, count(*)::int as n from ${table} group by 1`,
    );
    return Object.fromEntries(rows.map(({ t, n }) => [t, n]));
  };
  const names = async (table: string) => (await partitionsOf(client, table)).map((p) => p.name);

  it('are made for this month and two to come, and what fits none lies in the default partition', async () => {
    const ledger = await open();
    expect(await names('reading')).to.deep.equal(['reading_20260501', 'reading_20260601', 'reading_20260701']);
    expect(await names('finding')).to.have.length(3);
    const taken = [0, MONTH, -MONTH, 400 * DAY].map((seconds) => reading('s/1', seconds));
    await ledger.admit(taken.map(admitted), []);
    expect(await rowsIn('reading')).to.deep.equal({ reading_20260501: 1, reading_20260601: 1, reading_default: 2 });
    expect((await ledger.readingsAfter(0, 10)).map((s) => s.reading)).to.deep.equal(taken);
    expect((await ledger.latestReadings(['s/1'], 2)).map((s) => s.reading)).to.deep.equal([taken[3], taken[1]]);
  });

  it('hold a reading once, however often and wherever it comes', async () => {
    const ledger = await open();
    const taken = [0, MONTH, -MONTH].map((seconds) => admitted(reading('s/1', seconds)));
    const first = await ledger.admit(taken, []);
    const again = await ledger.admit(taken.toReversed(), []);
    expect(again.readings.map((p) => p.isNew)).to.deep.equal([false, false, false]);
    expect(again.readings.map((p) => p.seq)).to.deep.equal(first.readings.map((p) => p.seq).reverse());
  });

  it('hold a rejection once, also when the same payload comes in another month', async () => {
    const ledger = await open();
    const first = rejection('s/1', 0);
    const later = { ...first, at: formatInstant(at(2 * MONTH)) };
    expect(await ledger.keep(first)).to.deep.equal({ isNew: true });
    expect(await ledger.keep(later)).to.deep.equal({ isNew: false });
    expect((await ledger.records({ kinds: ['rejection'] })).records).to.deep.equal([first]);
    expect((await ledger.health()).rejections).to.equal(1);
  });

  it('let one finding of a subject hold, over the border of a month and back', async () => {
    const ledger = await open();
    const [may, june, april] = [0, MONTH, -MONTH].map((seconds) => identification('s/1', seconds));
    for (const finding of [may!, june!, april!]) await ledger.keep(finding);
    expect(await rowsIn('finding')).to.deep.equal({ finding_20260501: 1, finding_20260601: 1, finding_default: 1 });
    expect((await ledger.records({ currentOnly: true })).records).to.deep.equal([june]);
    expect(await ledger.keep(may!)).to.deep.equal({ isNew: false });
    const { rows } = await client.query('select id, superseded_by from finding order by at_us');
    expect(rows.map((r) => r.superseded_by)).to.deep.equal([june!.id, june!.id, null]);
    expect(await ledger.verify()).to.include({ intact: true, records: 3 });
  });

  it('give a stretch that fills up in the default partition one of its own, and lose nothing', async () => {
    const ledger = await open();
    const march = Array.from({ length: 10_000 }, (_, n) => admitted(reading(`s/${n % 7}`, -2 * MONTH + n)));
    await ledger.admit([...march, admitted(reading('s/1', -400 * DAY))], []);
    expect(await rowsIn('reading')).to.deep.equal({ reading_default: 10_001 });
    await open();
    expect(await rowsIn('reading')).to.deep.equal({ reading_20260301: 10_000, reading_default: 1 });
    expect((await ledger.admit(march.slice(0, 5), [])).readings.some((p) => p.isNew)).to.equal(false);
    expect(await ledger.verify()).to.include({ intact: true, records: 10_001 });
  });

  it('go on when the setting changes: days after months, without a gap', async () => {
    await open();
    const ledger = await open({ partition: 'day', nowUs: () => at(88 * DAY) });
    expect((await names('reading')).slice(3)).to.deep.equal(['reading_20260801', 'reading_20260802']);
    await ledger.admit([admitted(reading('s/1', 89.9 * DAY))], []);
    expect(await rowsIn('reading')).to.deep.equal({ reading_20260802: 1 });
  });

  it('are not waited for while somebody reads the default partition for long', async () => {
    await open();
    const reader = new pg.Client({ connectionString: server.connection, options: '-c search_path=phaseloom' });
    await reader.connect();
    await reader.query('begin; select count(*) from reading_default');
    const ledger = await open({ nowUs: () => at(200 * DAY) });
    await ledger.admit([admitted(reading('s/1', 200 * DAY))], []);
    expect(await rowsIn('reading')).to.deep.equal({ reading_default: 1 });
    await reader.end();
    await open({ nowUs: () => at(200 * DAY) });
    expect(await rowsIn('reading')).to.deep.equal({ reading_20261101: 1 });
  });

  it('take in a ledger from before, with its places, its chain and what holds', async () => {
    const pool = new pg.Pool({ connectionString: server.connection, options: '-c search_path=phaseloom' });
    const db = new Kysely<object>({ dialect: new PostgresDialect({ pool }) });
    const provider = ledgerMigrations(postgresWords);
    const { error } = await new Migrator({ db, provider, migrationTableSchema: 'phaseloom' }).migrateTo('0002-chain');
    expect(error).to.equal(undefined);
    const old = [0, MONTH, -MONTH].map((seconds) => reading('s/1', seconds));
    for (const r of old)
      await sql`insert into reading (id, terminal, taken_at_us, received_at_us, source, door, body)
        values (${r.id}, 's/1', ${Date.parse(r.takenAt) * 1000}, 0, 'test', '', ${JSON.stringify(r)})`.execute(db);
    const [held, past] = [identification('s/1', 10), identification('s/1', 5)];
    for (const [f, by] of [
      [past, held.id],
      [held, null],
    ] as const)
      await sql`insert into finding (id, kind, subject, about, at_us, stored_at_us, superseded_by, body)
        values (${f!.id}, 'identification', 's/1', 's/1', ${Date.parse(f!.at) * 1000}, 0, ${by}, ${JSON.stringify(f)})`.execute(
        db,
      );
    const refused = rejection('s/1', 0);
    await sql`insert into rejection (id, at_us, source, terminal, stage, code, body)
      values (${refused.id}, 0, 'test', 's/1', 'screen', '', ${JSON.stringify(refused)})`.execute(db);
    await db.destroy();

    const ledger = await open();
    const again = await ledger.admit([...old, reading('s/1', 1)].map(admitted), [refused]);
    expect(again.readings.map((p) => p.isNew)).to.deep.equal([false, false, false, true]);
    expect(again.readings.slice(0, 3).map((p) => p.seq)).to.deep.equal([1, 2, 3]);
    expect(again.readings[3]!.seq).to.be.greaterThan(3);
    expect((await ledger.readingsAfter(0, 9)).map((s) => s.reading).slice(0, 3)).to.deep.equal(old);
    expect((await ledger.records({ currentOnly: true })).records).to.deep.equal([held]);
    const newer = identification('s/1', 20);
    expect(await ledger.keep(held)).to.deep.equal({ isNew: false });
    await ledger.keep(newer);
    expect((await ledger.records({ currentOnly: true })).records).to.deep.equal([newer]);
    expect(await ledger.verify()).to.include({ intact: true, records: 2, notCovered: 6 });
  });

  it('follow the calendar of PostgreSQL (date_trunc; 400 instants from 1970 to 2100)', async () => {
    const instants = fc.sample(fc.integer({ min: 0, max: 4_102_444_800 }), { seed: 5, numRuns: 100 });
    for (const stretch of STRETCHES) {
      const { rows } = await client.query(
        `select s::float8, extract(epoch from date_trunc($1, to_timestamp(s) at time zone 'UTC') at time zone 'UTC')::float8 as b,
           extract(epoch from (date_trunc($1, to_timestamp(s) at time zone 'UTC') + ('1 ' || $1)::interval) at time zone 'UTC')::float8 as e
         from unnest($2::float8[]) as s`,
        [stretch, instants],
      );
      for (const { s, b, e } of rows)
        expect(stretchAround(s * 1e6, stretch), `${stretch} ${s}`).to.deep.equal({ fromUs: b * 1e6, toUs: e * 1e6 });
    }
  });

  it('leave no gap and never overlap, whatever is taken (property, 200 cases)', () => {
    const span = fc.tuple(fc.integer({ min: 0, max: 400 }), fc.integer({ min: 1, max: 60 }));
    fc.assert(
      fc.property(
        fc.constantFrom(...STRETCHES),
        fc.array(span, { maxLength: 6 }),
        span,
        (stretch, cuts, [from, long]) => {
          const us = (day: number) => at(day * DAY);
          let free = 0;
          const taken = cuts
            .toSorted((a, b) => a[0] - b[0])
            .flatMap(([start, days]) => {
              const fromDay = Math.max(start, free);
              free = fromDay + days;
              return { fromUs: us(fromDay), toUs: us(free) };
            });
          const open = openSpans({ fromUs: us(from), toUs: us(from + long) }, stretch, taken);
          const all = [...taken, ...open].sort((a, b) => a.fromUs - b.fromUs);
          for (const [i, s] of all.entries()) {
            expect(s.fromUs).to.be.lessThan(s.toUs);
            if (i > 0) expect(s.fromUs).to.be.at.least(all[i - 1]!.toUs);
          }
          const covered = all.reduce(
            (sum, s) => sum + Math.max(0, Math.min(s.toUs, us(from + long)) - Math.max(s.fromUs, us(from))),
            0,
          );
          expect(covered).to.equal(us(from + long) - us(from));
        },
      ),
      { seed: 6, numRuns: 200 },
    );
  });
});
