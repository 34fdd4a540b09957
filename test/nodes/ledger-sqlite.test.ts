import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { mkdirSync, mkdtempSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { DatabaseSync } from 'node:sqlite';
import { expect } from 'chai';
import { Kysely, Migrator } from 'kysely';
import type { Trouble } from '../../nodes/kit/trouble';
import { ledgerMigrations } from '../../nodes/ledger/migrations';
import { NodeSqliteDialect, sqliteWords } from '../../nodes/ledger/sqlite/dialect';
import { SqliteLedger, type SqliteLedgerOptions } from '../../nodes/ledger/sqlite/sqlite-ledger';
import { type LedgerUnderTest, ledgerLaws } from './ledger-laws';
import { admitted, alert, identification, reading } from './ledger-samples';

interface SqliteUnderTest extends LedgerUnderTest {
  readonly ledger: SqliteLedger;
  readonly file: string;
}

async function make(options: Partial<SqliteLedgerOptions> = {}): Promise<SqliteUnderTest> {
  const folder = mkdtempSync(join(tmpdir(), 'phaseloom-ledger-'));
  const file = join(folder, 'ledger.sqlite');
  const another = async () => {
    const ledger = new SqliteLedger({ file, ...options });
    await ledger.open();
    return ledger;
  };
  const ledger = await another();
  const refuseWhen = async (table: string, condition: string) => {
    sql(
      file,
      `create trigger no before insert on ${table} when ${condition} begin select raise(abort, 'refused'); end`,
    );
  };
  return {
    file,
    ledger,
    another,
    refuse: (table) => refuseWhen(table, 'true'),
    refuseFinding: (subject) => refuseWhen('finding', `new.subject = '${subject}'`),
    async destroy() {
      await ledger.close();
      rmSync(folder, { recursive: true, force: true });
    },
  };
}

function sql(file: string, ...texts: string[]): unknown[] {
  const database = new DatabaseSync(file);
  try {
    return texts.flatMap((text) => database.prepare(text).all());
  } finally {
    database.close();
  }
}

/** Commits in the write-ahead log: frames whose "size after commit" is not zero (sqlite.org/fileformat2.html, section 4.1). */
function commitsInLog(file: string): number {
  const log = readFileSync(`${file}-wal`);
  const frameBytes = 24 + log.readUInt32BE(8);
  let commits = 0;
  for (let at = 32; at + frameBytes <= log.length; at += frameBytes) if (log.readUInt32BE(at + 4) > 0) commits++;
  return commits;
}

const failureOf = (promise: Promise<unknown>): Promise<Trouble> =>
  promise.then(
    () => {
      throw new Error('it did not fail');
    },
    (cause) => cause as Trouble,
  );
const pause = (ms: number) => new Promise((resolve) => setTimeout(resolve, ms));

async function until(what: () => Promise<boolean>): Promise<void> {
  for (let i = 0; i < 400; i++) {
    if (await what()) return;
    await pause(10);
  }
  throw new Error('it did not come about within 4 s');
}

ledgerLaws('SQLite', make);

describe('the SQLite ledger', () => {
  let bench: SqliteUnderTest;
  afterEach(() => bench?.destroy());

  it('commits the writes of one turn of the event loop as one, and answers after the commit', async () => {
    bench = await make();
    const { ledger, file } = bench;
    await ledger.keep(identification('s/0', 0));
    const before = commitsInLog(file);
    const seen: number[] = [];
    const keeps = Array.from({ length: 200 }, (_, n) =>
      ledger.keep(identification(`s/${n}`, n + 1)).then(() => {
        if (n % 50 === 0) seen.push((sql(file, 'select count(*) as n from finding')[0] as { n: number }).n);
      }),
    );
    await Promise.all(keeps);
    expect(commitsInLog(file) - before).to.equal(1);
    expect(seen).to.deep.equal([201, 201, 201, 201]);
  });

  it('gives a claim that had to wait its whole lease', async () => {
    let nowUs = 42e6;
    bench = await make({ nowUs: () => nowUs });
    const { ledger, file } = bench;
    await ledger.enqueue([{ destination: 'd', key: 'k', subject: 's', record: identification('s/1', 0) }]);
    const other = new DatabaseSync(file);
    other.exec('begin immediate');
    const waiting = ledger.claimDue('d', 1, 5000);
    await until(async () => (await ledger.health()).error !== '');
    nowUs += 60e6;
    other.exec('rollback');
    other.close();
    expect(await waiting).to.have.length(1);
    expect(await ledger.claimDue('d', 1, 5000), 'claimed by the first').to.deep.equal([]);
    nowUs += 5e6;
    expect(await ledger.claimDue('d', 1, 5000)).to.have.length(1);
  });

  it('knows of alerts in a file from before when time alone moves them', async () => {
    bench = await make();
    const { ledger, file } = bench;
    await ledger.saveAlert(alert('shelved', 1, 0, { state: 'shelved', shelvedUntil: '2026-05-04T11:00:00Z' }));
    await ledger.saveAlert(alert('open', 1, 0));
    await ledger.close();
    sql(
      file,
      'drop index alert_by_due',
      'alter table alert drop column due_at_us',
      'alter table delivery drop column refusals',
      "delete from kysely_migration where name >= '0010-alert-due'",
    );
    const again = await bench.another();
    const due = await again.alerts({ dueBeforeUs: Number.MAX_SAFE_INTEGER });
    expect(due.map(({ key }) => key)).to.deep.equal(['shelved']);
    await again.close();
  });

  it('writes down what took the place of what, and what a finding rests on', async () => {
    bench = await make({ nowUs: () => 42 });
    const { ledger, file } = bench;
    const source = reading('s/1', 0);
    const [old, newer] = [identification('s/1', 0, { from: [source.id] }), identification('s/1', 1)] as const;
    await ledger.admit([admitted(source)], []);
    await ledger.keep(old);
    await ledger.keep(newer);
    const rows = sql(file, 'select id, superseded_by, superseded_at_us from finding order by seq');
    expect(rows.map((r) => ({ ...(r as object) }))).to.deep.equal([
      { id: old.id, superseded_by: newer.id, superseded_at_us: 42 },
      { id: newer.id, superseded_by: null, superseded_at_us: null },
    ]);
    const joined = sql(
      file,
      `select f.id as finding, r.terminal from finding f join finding_source s on s.finding_seq = f.seq
       join reading r on r.id = s.source_id`,
    );
    expect(joined.map((r) => ({ ...(r as object) }))).to.deep.equal([{ finding: old.id, terminal: 's/1' }]);
  });

  it('takes in a file from before, with what its findings rest on', async () => {
    bench = await make();
    const file = join(bench.file, '../before.sqlite');
    const database = new DatabaseSync(file);
    // PHLM, the mark of a ledger
    database.exec('pragma application_id = 1346915405');
    const db = new Kysely<object>({ dialect: new NodeSqliteDialect(database) });
    const migrator = new Migrator({ db, provider: ledgerMigrations(sqliteWords) });
    expect((await migrator.migrateTo('0008-let-go-views')).error).to.equal(undefined);
    const [rests, later] = [identification('s/1', 0, { from: ['rd-1', 'rd-2'] }), identification('s/2', 1)] as const;
    database
      .prepare(
        "insert into finding (id, kind, subject, about, at_us, stored_at_us, body) values (?, 'identification', 's/1', 's/1', 1, 2, ?)",
      )
      .run(rests.id, JSON.stringify(rests));
    database.exec("insert into finding_source values (1, 'rd-2'), (1, 'rd-1')");
    database.close();
    const ledger = new SqliteLedger({ file });
    await ledger.open();
    expect(await ledger.keep(rests)).to.deep.equal({ isNew: false });
    await ledger.keep(later);
    await ledger.close();
    const held = sql(file, 'select finding_id, source_id from v1_finding_source order by source_id');
    expect(held.map((r) => ({ ...(r as object) }))).to.deep.equal([
      { finding_id: rests.id, source_id: 'rd-1' },
      { finding_id: rests.id, source_id: 'rd-2' },
    ]);
    sql(file, 'pragma foreign_keys = on', 'delete from finding where seq = 1');
    expect(sql(file, 'select * from finding_source'), 'they go with the finding').to.have.length(0);
  });

  it('waits while another program holds the file, says so, and loses nothing', async () => {
    bench = await make();
    const { ledger, file } = bench;
    const other = new DatabaseSync(file);
    other.exec('begin immediate');
    const keeps = [1, 2, 3].map((n) => ledger.keep(identification(`s/${n}`, n)));
    await until(async () => !(await ledger.health()).ok);
    const { error, pending } = await ledger.health();
    expect(pending).to.equal(3);
    expect(error).to.match(/ledger\.sqlite: another program holds the file .*; close that program/);
    other.exec('rollback');
    other.close();
    expect(await Promise.all(keeps)).to.deep.equal([{ isNew: true }, { isNew: true }, { isNew: true }]);
    expect(await ledger.health()).to.deep.include({ ok: true, error: '', pending: 0, findings: 3 });
  });

  it('waits while the disk is full, still answers questions, and goes on by itself when there is room', async function () {
    this.timeout(90_000);
    bench = await make({ pragmas: ['max_page_count = 130'] });
    const { ledger, file } = bench;
    const batch = (b: number) => Array.from({ length: 50 }, (_, n) => admitted(reading(`s/${n}`, b)));
    const admissions = Array.from({ length: 40 }, (_, b) => ledger.admit(batch(b), []));
    await until(async () => !(await ledger.health()).ok);
    const { error, pending, readings } = await ledger.health();
    expect(error).to.match(/there is no room left .*; free some space/);
    expect(pending + readings).to.equal(2000);
    expect(pending % 50, 'whole batches only').to.equal(0);
    expect((await ledger.readingsAfter(0, 5000)).length).to.equal(readings);
    let removed = 0;
    while ((await ledger.health()).pending > 0) {
      removed += sql(
        file,
        'delete from reading where seq in (select seq from reading order by seq limit 400) returning seq',
      ).length;
      await pause(40);
    }
    await Promise.all(admissions);
    expect((await ledger.readingsAfter(0, 5000)).length + removed).to.equal(2000);
    expect(sql(file, 'pragma integrity_check').map((r) => ({ ...(r as object) }))).to.deep.equal([
      { integrity_check: 'ok' },
    ]);
  });

  it('takes no more than it may hold while the store is away', async () => {
    bench = await make({ maxPending: 3 });
    const { ledger, file } = bench;
    const other = new DatabaseSync(file);
    other.exec('begin immediate');
    const keeps = [1, 2, 3].map((n) => ledger.keep(identification(`s/${n}`, n)));
    await until(async () => !(await ledger.health()).ok);
    const refused = await failureOf(ledger.keep(identification('s/4', 4)));
    expect(refused.code).to.equal('ledger-overflow');
    expect(refused.message).to.match(/3 records wait to be stored and no more are taken: ledger .* holds the file/);
    other.exec('rollback');
    other.close();
    await Promise.all(keeps);
    expect(await ledger.keep(identification('s/4', 4))).to.deep.equal({ isNew: true });
  });

  it('commits what is pending when it closes', async () => {
    bench = await make();
    const { ledger, file } = bench;
    const keeps = [1, 2, 3].map((n) => ledger.keep(identification(`s/${n}`, n)));
    await ledger.close();
    expect(await Promise.all(keeps)).to.deep.equal([{ isNew: true }, { isNew: true }, { isNew: true }]);
    expect(sql(file, 'select id from finding')).to.have.length(3);
    expect((await failureOf(ledger.keep(identification('s/4', 4)))).code).to.equal('ledger-closed');
  });

  it('says what it could not store when it must close in trouble', async () => {
    bench = await make({ closeWithinMs: 100 });
    const { ledger, file } = bench;
    const other = new DatabaseSync(file);
    other.exec('begin immediate');
    const refused = failureOf(ledger.keep(identification('s/1', 1)));
    await ledger.close();
    expect((await refused).code).to.equal('ledger-closed');
    expect((await refused).message).to.match(/closed before this could be stored: .* another program holds the file/);
    other.exec('rollback');
    other.close();
  });

  it('opens again after closing, and closing twice does no harm', async () => {
    bench = await make();
    await bench.ledger.keep(identification('s/1', 1));
    await bench.ledger.close();
    await bench.ledger.close();
    expect((await bench.ledger.health()).error).to.contain('is not open');
    await bench.ledger.open();
    expect((await bench.ledger.records({})).records).to.have.length(1);
  });

  it('stores nothing into a file that was moved away, and goes on when it is put back', async () => {
    bench = await make();
    const { ledger, file } = bench;
    renameSync(file, `${file}.away`);
    const kept = ledger.keep(identification('s/1', 1));
    await until(async () => (await ledger.health()).error.includes('was moved, deleted or replaced'));
    renameSync(`${file}.away`, file);
    expect(await kept).to.deep.equal({ isNew: true });
  });
});

describe('a SQLite ledger that cannot be opened says why', () => {
  const folder = mkdtempSync(join(tmpdir(), 'phaseloom-ledger-'));
  const path = (name: string) => join(folder, name);
  const opening = (file: string, more: Partial<SqliteLedgerOptions> = {}) =>
    failureOf(new SqliteLedger({ file, ...more }).open());
  after(() => rmSync(folder, { recursive: true, force: true }));

  async function filled(name: string): Promise<string> {
    const ledger = new SqliteLedger({ file: path(name) });
    await ledger.open();
    await ledger.admit(
      Array.from({ length: 500 }, (_, n) => admitted(reading(`s/${n}`, n))),
      [],
    );
    await ledger.close();
    return path(name);
  }

  it('no such folder', async () => {
    const { code, message } = await opening(path('none/ledger.sqlite'));
    expect(code).to.equal('ledger-cannot-open');
    expect(message).to.contain(`the folder ${path('none')} does not exist; create it`);
  });

  it('a folder in which nothing can be written', async () => {
    // Even root cannot make files in /proc.
    const { code, message } = await opening('/proc/ledger.sqlite');
    expect(code).to.equal('ledger-cannot-open');
    expect(message).to.contain('name a file in a folder that exists and may be written');
  });

  it('a store that cannot be written', async () => {
    const { code, message } = await opening(path('read-only.sqlite'), { pragmas: ['query_only = 1'] });
    expect(code).to.equal('ledger-read-only');
    expect(message).to.contain('let the user that runs Node-RED write the file and its folder');
  });

  it('a file that is no database', async () => {
    writeFileSync(path('text.sqlite'), 'This is a letter, not a database.\n'.repeat(100));
    const { code, message } = await opening(path('text.sqlite'));
    expect(code).to.equal('ledger-not-a-database');
    expect(message).to.contain('name another file, or restore this one from a backup');
    expect(readFileSync(path('text.sqlite'), 'utf8')).to.match(/^This is a letter/);
  });

  it('the database of another program, which stays as it is', async () => {
    sql(path('other.sqlite'), 'create table customer (name text)');
    const before = readFileSync(path('other.sqlite'));
    expect((await opening(path('other.sqlite'))).code).to.equal('ledger-foreign-file');
    expect(readFileSync(path('other.sqlite')).equals(before)).to.equal(true);
  });

  it('a ledger of a newer version', async () => {
    const file = await filled('newer.sqlite');
    sql(file, "insert into kysely_migration values ('9999-later', '2030-01-01T00:00:00.000Z')");
    const { code, message } = await opening(file);
    expect(code).to.equal('ledger-newer');
    expect(message).to.contain('update the package');
  });

  it('a damaged file: when opening, or at the question that meets the damage', async () => {
    const file = await filled('damaged.sqlite');
    const bytes = readFileSync(file);
    bytes.fill(0xa5, 4096);
    writeFileSync(file, bytes);
    const ledger = new SqliteLedger({ file, closeWithinMs: 0 });
    const { code, message } = await failureOf(ledger.open().then(() => ledger.records({})));
    expect(code).to.equal('ledger-corrupt');
    expect(message).to.contain('restore it from a backup, or save what is left with `sqlite3 FILE .recover`');
    await ledger.close();
  });

  it('and can be opened once the cause is gone', async () => {
    const file = path('later/ledger.sqlite');
    const ledger = new SqliteLedger({ file });
    await failureOf(ledger.open());
    expect((await ledger.health()).error).to.contain('does not exist');
    mkdirSync(path('later'));
    await ledger.open();
    expect((await ledger.health()).ok).to.equal(true);
    await ledger.close();
  });
});

describe('a program killed while it writes into a SQLite ledger', function () {
  this.timeout(60_000);

  it('has stored everything it was promised, in a sound file (3 kills)', async () => {
    const folder = mkdtempSync(join(tmpdir(), 'phaseloom-ledger-'));
    const file = join(folder, 'ledger.sqlite');
    const promised: string[] = [];
    for (const [run, aliveMs] of [310, 170, 450].entries()) promised.push(...(await killedAfter(file, run, aliveMs)));
    expect(promised.length, 'ids promised').to.be.greaterThan(30);

    const database = new DatabaseSync(file);
    expect({ ...(database.prepare('pragma integrity_check').get() as object) }).to.deep.equal({
      integrity_check: 'ok',
    });
    const tables = ['reading', 'rejection', 'finding', 'alert_transition'];
    const stored = new Set(
      tables.flatMap((t) => (database.prepare(`select id from ${t}`).all() as { id: string }[]).map((r) => r.id)),
    );
    expect(promised.filter((id) => !stored.has(id))).to.deep.equal([]);
    const halves = database
      .prepare('select count(*) as n from alert_transition where id not in (select key from delivery)')
      .get() as { n: number };
    expect(halves.n, 'alerts without their delivery').to.equal(0);
    database.close();

    const ledger = new SqliteLedger({ file });
    await ledger.open();
    const { readings, rejections, findings } = await ledger.health();
    const counts = Object.fromEntries(await ledger.count({}));
    expect([readings, rejections, findings]).to.deep.equal([counts.reading, counts.rejection, counts.identification]);
    await ledger.close();
    rmSync(folder, { recursive: true, force: true });
  });
});

/** Ids promised by a writer that lives for so long after its first word. The last line may have been cut short. */
async function killedAfter(file: string, run: number, aliveMs: number): Promise<string[]> {
  const script = join(__dirname, 'ledger-writer.ts');
  const child = spawn(process.execPath, ['--require', 'tsx/cjs', script, file, String(run)]);
  let said = '';
  let complaints = '';
  child.stdout.on('data', (d) => (said += d));
  child.stderr.on('data', (d) => (complaints += d));
  await Promise.race([once(child.stdout, 'data'), once(child, 'exit')]);
  await pause(aliveMs);
  const closed = once(child, 'close');
  child.kill('SIGKILL');
  await closed;
  if (child.signalCode !== 'SIGKILL') throw new Error(`the writer ended by itself: ${complaints}`);
  return said.split('\n').slice(0, -1);
}
