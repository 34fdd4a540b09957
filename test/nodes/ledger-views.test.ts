import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { DatabaseSync } from 'node:sqlite';
import { DuckDBInstance } from '@duckdb/node-api';
import { expect } from 'chai';
import pg from 'pg';
import type { Ledger } from '../../nodes/ledger/ledger';
import { parquetOf } from '../../nodes/ledger/parquet';
import { PostgresLedger } from '../../nodes/ledger/postgres/postgres-ledger';
import { SqliteLedger } from '../../nodes/ledger/sqlite/sqlite-ledger';
import { type PostgresServer, program, startPostgres } from '../kit/postgres';
import { admitted, alert, at, comparison, identification, reading, rejection, rotation } from './ledger-samples';

const page = readFileSync(join(__dirname, '../../nodes/ledger/DATA.md'), 'utf8');
const examples = (label: string): string[] =>
  [...page.matchAll(/```(sql[^\n]*)\n([\s\S]*?)```/g)].filter(([, is]) => is === label).map(([, , text]) => text!);
const VIEWS = [...page.matchAll(/^\| `(v1_\w+)` \|/gm)].map(([, name]) => name!);

const first = reading('s/1', 0, {
  voltageV: 14_390,
  sigmaDeg: 1.5,
  clock: { source: 'gnss', errorUs: 1.2, locked: true },
  instrument: { id: 'P-07', batteryPct: 82 },
  by: 'crew 4',
  position: { lat: 51.5, lon: -0.12 },
  note: 'a text that \0 PostgreSQL cannot hold',
});
const second = reading('s/2', 1.25, { instrument: { id: 'P-08' } });
const wrong = identification('s/1', 5, { from: [first.id], recordedPhase: 'C', agreesWithRecord: false });

async function fill(ledger: Ledger): Promise<void> {
  await ledger.admit([first, second].map(admitted), [rejection('s/9', 3)]);
  await ledger.keep(identification('s/1', 2, { from: [first.id], verdict: 'not-proven', phase: null }));
  await ledger.keep(wrong);
  await ledger.keep(rotation('s', ['s/1', 's/2', 's/3'], 5));
  await ledger.keep(comparison('tie', 6, { from: [second.id] }));
  await ledger.saveAlert(alert('k', 1, 10));
  await ledger.saveAlert(alert('k', 2, 20, { state: 'acknowledged', transition: 'acknowledged', by: 'operator' }), [
    { destination: 'https://secret-host/hook?key=secret-word', key: 'x', subject: 's', record: wrong },
  ]);
}

type Rows = Record<string, unknown>[];

function viewLaws(query: (sql: string) => Promise<Rows>): void {
  it('show a reading flat, with units in the names', async () => {
    const [row] = await query("select * from v1_reading where terminal = 's/1'");
    expect(row).to.deep.include({
      angle_deg: -118.4,
      sigma_deg: 1.5,
      voltage_v: 14_390,
      clock_source: 'gnss',
      clock_error_us: 1.2,
    });
    expect(row).to.deep.include({
      instrument: 'P-07',
      instrument_battery_pct: 82,
      latitude_deg: 51.5,
      longitude_deg: -0.12,
      taken_by: 'crew 4',
    });
    expect(Boolean(row!.clock_locked)).to.equal(true);
    expect(Number(row!.taken_at_us)).to.equal(at(0));
    expect(row!.note).to.contain('a text that');
  });

  it('show instants to the microsecond', async () => {
    const [row] = await query("select cast(taken_at as text) as t from v1_reading where terminal = 's/2'");
    expect(row!.t).to.match(/^2026-05-04.10:15:31\.25/);
  });

  it('show what holds and what held', async () => {
    const rows = await query(
      'select phase, verdict, is_current, recorded_phase, agrees_with_record from v1_identification order by at_us',
    );
    expect(rows.map((r) => [r.phase, r.verdict, Boolean(r.is_current)])).to.deep.equal([
      [null, 'not-proven', false],
      ['B', 'identified', true],
    ]);
    expect((await query('select terminal from v1_terminal_phase')).map((r) => r.terminal)).to.deep.equal(['s/1']);
  });

  it('answer every question of the page for the data team', async () => {
    const answers: Rows[] = [];
    for (const example of examples('sql')) answers.push(await query(example));
    const [disagreeing, instruments, rests, open, waits, refused] = answers;
    expect(disagreeing!.map((r) => [r.terminal, r.recorded_phase, r.phase])).to.deep.equal([['s/1', 'C', 'B']]);
    expect(instruments!.map((r) => [r.instrument, Number(r.readings), Number(r.locked)])).to.deep.equal([
      ['P-07', 1, 1],
      ['P-08', 1, 0],
    ]);
    expect(rests!.map((r) => r.terminal).sort()).to.deep.equal(['s/1', 's/2']);
    expect(open!.map((r) => r.open_point)).to.deep.equal(['tie']);
    expect(waits).to.have.length(1);
    expect(JSON.stringify(waits![0]!.acknowledged_at)).to.contain('10:15:50');
    expect(refused!.map((r) => [r.code, Number(r.n)])).to.deep.equal([['schema-type', 1]]);
  });

  it('are all named on the page, and each can be asked', async () => {
    expect(VIEWS).to.have.length.greaterThan(9);
    for (const view of VIEWS) await query(`select * from ${view}`);
  });
}

describe('the views of a SQLite ledger', () => {
  const folder = mkdtempSync(join(tmpdir(), 'phaseloom-views-'));
  const file = join(folder, 'ledger.sqlite');
  const ledger = new SqliteLedger({ file });
  let database: DatabaseSync;
  before(async () => {
    await ledger.open();
    await fill(ledger);
    database = new DatabaseSync(file, { readOnly: true });
  });
  after(async () => {
    database.close();
    await ledger.close();
    rmSync(folder, { recursive: true, force: true });
  });
  const query = async (sql: string) => database.prepare(sql).all() as Rows;

  viewLaws(query);

  it('are those of the page and no others', async () => {
    const rows = await query("select name from sqlite_master where type = 'view'");
    expect(rows.map((r) => r.name).sort()).to.deep.equal([...VIEWS].sort());
  });

  it('have a sibling in Parquet that DuckDB reads as the page shows', async () => {
    const parquet = join(folder, 'readings.parquet');
    writeFileSync(parquet, parquetOf((await ledger.records({ kinds: ['reading'] })).records, ['reading']));
    const connection = await (await DuckDBInstance.create()).connect();
    const [example] = examples('sql duckdb');
    const rows = (await connection.runAndReadAll(example!.replace('readings.parquet', parquet))).getRowObjectsJson();
    expect(rows.map((r) => [r.terminal, Number(r.readings), r.mean_voltage_v])).to.deep.equal([
      ['s/1', 1, 14_390],
      ['s/2', 1, null],
    ]);
  });
});

describe('the views of a PostgreSQL ledger', function () {
  this.timeout(60_000);
  let server: PostgresServer;
  let analyst: pg.Client;
  let ledger: PostgresLedger;
  before(async () => {
    server = await startPostgres();
    ledger = new PostgresLedger({ connection: server.connection, nowUs: () => at(0) });
    await ledger.open();
    await fill(ledger);
    await server.sql(examples('sql role')[0]!);
    await server.sql(`create user ana login password 'x' in role phaseloom_analyst`);
    await server.sql('alter user ana set search_path = phaseloom');
    analyst = new pg.Client({ connectionString: server.connection.replace('tester@', 'ana@') });
    await analyst.connect();
  });
  after(async () => {
    await analyst.end();
    await ledger.close();
    await server.stop();
  });
  const query = async (sql: string) => (await analyst.query(sql)).rows as Rows;
  const refused = async (sql: string) => {
    const cause = await analyst.query(sql).catch((e: { code: string }) => e);
    // SQLSTATE 42501: insufficient privilege; 55000: this view takes no writes (PostgreSQL manual, appendix A)
    expect((cause as { code: string }).code, sql).to.be.oneOf(['42501', '55000']);
  };

  viewLaws(query);

  it('are all that an analyst sees: no table can be read, nothing can be written', async () => {
    const rows = await query(
      `select table_name from information_schema.role_table_grants where grantee = 'phaseloom_analyst'`,
    );
    expect(rows.map((r) => r.table_name).sort()).to.deep.equal([...VIEWS].sort());
    const tables = await server.sql("select tablename from pg_tables where schemaname = 'phaseloom'");
    for (const { tablename } of tables as { tablename: string }[]) await refused(`select * from ${tablename}`);
    for (const view of VIEWS) await refused(`delete from ${view}`);
    await refused("insert into v1_rejection (rejection_id) values ('x')");
    await refused('create table phaseloom.mine (a int)');
  });

  it('show no address of another system and nothing of what a rejected message held', async () => {
    for (const view of VIEWS) {
      expect(JSON.stringify(await query(`select * from ${view}`)), view).not.to.match(
        /secret-word|secret-host|"\\"x\\""/,
      );
    }
  });

  it('are asked by the partition: others are not looked at', async () => {
    const [example] = examples('sql postgres');
    expect((await query(example!)).map((r) => r.terminal)).to.deep.equal(['s/1', 's/2']);
    // Who may not read the tables may not see their plan either: the owner asks.
    const plan = JSON.stringify(await ownerPlan(example!));
    expect(plan)
      .to.contain('reading_20260501')
      .and.not.to.contain('reading_20260601')
      .and.not.to.contain('reading_default');
  });
  const ownerPlan = async (sql: string) => {
    const owner = new pg.Client({ connectionString: server.connection, options: '-c search_path=phaseloom' });
    await owner.connect();
    const { rows } = await owner.query(`explain ${sql}`);
    await owner.end();
    return rows;
  };

  it('come back with a dump, and the chain with them', async () => {
    const { head } = await ledger.verify();
    await server.sql('create database copy');
    const at = (database: string) => server.connection.replace('/postgres', `/${database}`);
    const dump = execFileSync(program('pg_dump'), ['--schema=phaseloom', '--format=custom', at('postgres')], {
      stdio: 'pipe',
    });
    execFileSync(program('pg_restore'), [`--dbname=${at('copy')}`], { input: dump, stdio: 'pipe' });
    const copy = new PostgresLedger({ connection: at('copy') });
    await copy.open();
    expect(await copy.verify(head)).to.include({ intact: true, records: 9 });
    expect((await copy.admit([admitted(first)], [])).readings[0]!.isNew).to.equal(false);
    await copy.close();
  });
});
