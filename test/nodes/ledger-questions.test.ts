/** Questions to the archive, answered on threads of their own while the ledger goes on storing. The outside: a real file, order of answers. */
import { copyFileSync, existsSync, mkdtempSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join, resolve } from 'node:path';
import { DatabaseSync } from 'node:sqlite';
import { setImmediate as turn } from 'node:timers/promises';
import type { Worker } from 'node:worker_threads';
import { expect } from 'chai';
import { boundedRows } from '../../nodes/ledger/sqlite/bounded-rows';
import { isOfTheFlow } from '../../nodes/ledger/sqlite/question-threads';
import { Snapshots } from '../../nodes/ledger/sqlite/snapshots';
import type { ThreadedLedger as Threaded } from '../../nodes/ledger/sqlite/threaded-ledger';
import { admitted, alert, comparison, identification, reading } from './ledger-samples';

/** A thread runs what was built. */
const { ThreadedLedger } = require(
  resolve(__dirname, '../../dist/nodes/ledger/sqlite/threaded-ledger.js'),
) as typeof import('../../nodes/ledger/sqlite/threaded-ledger');

const codeOf = (promise: Promise<unknown>) =>
  promise.then(
    () => 'none',
    (cause: { code?: string }) => cause.code,
  );

/** Needs the sources of 200 000 findings to be looked up, in one statement. */
const LONG = { kinds: ['identification'], instrument: 'none' } as const;
function fill(file: string): void {
  const database = new DatabaseSync(file);
  database.exec(`begin;
    with recursive n (i) as (select 1 union all select i + 1 from n where i < 200000)
    insert into finding (id, kind, subject, about, at_us, stored_at_us, body, superseded_by)
      select 'f' || i, 'identification', 's/' || i, 's/' || i, i, i, '{}', 'x' from n;
    with recursive n (i) as (select 1 union all select i + 1 from n where i < 4)
    insert into finding_source (finding_seq, source_id) select seq, 'r' || n.i || seq from finding, n;
    commit`);
  database.close();
}

describe('questions to the archive of a file', () => {
  let folder: string;
  let file: string;
  let large: string;
  let ledger: Threaded;
  const opened = async (name: string) => {
    const made = new ThreadedLedger({ file: name, durability: 'full', retainDays: () => Number.POSITIVE_INFINITY });
    await made.open();
    return made;
  };
  before(async () => {
    large = join(mkdtempSync(join(tmpdir(), 'phaseloom-questions-')), 'large.sqlite');
    await (await opened(large)).close();
    fill(large);
  });
  after(() => rmSync(dirname(large), { recursive: true, force: true }));
  beforeEach(async () => {
    folder = mkdtempSync(join(tmpdir(), 'phaseloom-questions-'));
    file = join(folder, 'ledger.sqlite');
    ledger = await opened(file);
  });
  afterEach(async () => {
    await ledger.close();
    rmSync(folder, { recursive: true, force: true });
  });
  const becomeLarge = async () => {
    await ledger.close();
    copyFileSync(large, file);
    await ledger.open();
  };

  it('hold up neither readings, nor what the flow asks, nor the board', async () => {
    await becomeLarge();
    const kept = comparison('OP1', 1);
    await ledger.keep(kept);
    await ledger.saveAlert(alert('a', 1, 1));
    // Both threads are there.
    await Promise.all([ledger.alertHistory('a'), ledger.alertHistory('b')]);
    const order: string[] = [];
    const noted = (what: string, answer: Promise<unknown>) => answer.then(() => order.push(what));
    const long = noted('count', ledger.count(LONG));
    await noted('board', ledger.alertList({ offset: 0, limit: 10 }));
    const longToo = noted('count', ledger.count(LONG));
    for (let i = 0; i < 5; i++) await noted('reading', ledger.admit([admitted(reading('s/1', i))], []));
    const newer = ledger.records({ kinds: ['comparison'], subject: 'OP1', currentOnly: true, limit: 50 });
    await noted('flow', newer);
    await Promise.all([long, longToo]);
    expect(order).to.deep.equal(['board', ...Array(5).fill('reading'), 'flow', 'count', 'count']);
    expect((await newer).records).to.deep.equal([kept]);
  });

  it('see all that was answered before they were asked', async () => {
    for (let i = 1; i <= 100; i++) {
      await ledger.admit([admitted(reading('s/1', i))], []);
      expect((await ledger.count({})).get('reading')).to.equal(i);
      await ledger.saveAlert(alert('a', i, i));
      expect(await ledger.alertHistory('a')).to.have.length(i);
      expect((await ledger.records({ kinds: ['reading'], limit: 10_000 })).records).to.have.length(i);
    }
  });

  it('find the chain sound while it grows, stretch by stretch', async () => {
    const batch = (b: number) => Array.from({ length: 500 }, (_, i) => admitted(reading(`s/${i}`, b)));
    for (let b = 0; b < 40; b++) await ledger.admit(batch(b), []);
    let isVerified = false;
    const verified = ledger.verify().finally(() => (isVerified = true));
    let links = 40;
    while (!isVerified) await ledger.admit([admitted(reading('t/1', ++links))], []);
    const { broken, records, head } = await verified;
    expect(broken).to.equal(null);
    expect(links, 'links made meanwhile').to.be.greaterThan(41);
    expect(head.link).to.be.within(41, links);
    expect(records).to.equal(20_000 + head.link - 40);
  });

  it('see one state of the ledger each, however quickly it changes', async () => {
    const days = () => Number.POSITIVE_INFINITY;
    const quick = new ThreadedLedger({ file: `${file}-quick`, durability: 'normal', retainDays: days });
    await quick.open();
    let isOver = false;
    const verifying = [0, 1].map(async () => {
      const found: unknown[] = [];
      while (!isOver) found.push((await quick.verify()).broken);
      return found;
    });
    for (let i = 0; i < 700; i++) await quick.admit([admitted(reading('s/1', i))], []);
    isOver = true;
    const found = (await Promise.all(verifying)).flat();
    await quick.close();
    expect(found.length).to.be.greaterThan(1);
    expect(found.filter((broken) => broken !== null)).to.deep.equal([]);
  });

  it('leave no log behind: the one who writes closes last', async () => {
    await ledger.admit([admitted(reading('s/1', 1))], []);
    await Promise.all([ledger.count({}), ledger.records({ kinds: ['reading'] }), ledger.verify()]);
    expect(existsSync(`${file}-wal`)).to.equal(true);
    await ledger.close();
    expect(existsSync(`${file}-wal`)).to.equal(false);
  });

  it('are told when the ledger is closed on them, and what waits is stored', async () => {
    await becomeLarge();
    const long = codeOf(ledger.count(LONG));
    await ledger.alertList({ offset: 0, limit: 1 });
    const stored = ledger.keep(identification('t/1', 1));
    await ledger.close();
    expect(await stored).to.deep.equal({ isNew: true });
    expect(await long).to.equal('ledger-closed');
    expect(await codeOf(ledger.count({}))).to.equal('ledger-closed');
    await ledger.open();
    const { records } = await ledger.records({ kinds: ['identification'], subject: 't/1', limit: 1001 });
    expect(records).to.have.length(1);
  });

  it('are cut off with a thread that ends, and asked again of another; what is stored goes on', async () => {
    await becomeLarge();
    const long = codeOf(ledger.count(LONG));
    const { threads } = (ledger as unknown as { questions: { threads: Set<{ worker: Worker }> } }).questions;
    for (const { worker } of threads) void worker.terminate();
    expect(await long).to.equal('ledger-question');
    await ledger.admit([admitted(reading('s/1', 1))], []);
    expect((await ledger.count({ kinds: ['reading'] })).get('reading')).to.equal(1);
  });

  it('are not asked of another file that lies in the place of the ledger', async () => {
    const away = `${file}-away`;
    renameSync(file, away);
    writeFileSync(file, '');
    expect(await codeOf(ledger.count({}))).to.equal('ledger-moved');
    renameSync(away, file);
    expect((await ledger.count({})).size).to.equal(0);
  });

  it('come as they do from a file, of a ledger that lies in memory alone', async () => {
    const own = new ThreadedLedger({ file: ':memory:', durability: 'normal', retainDays: () => 30 });
    await own.open();
    await own.admit([admitted(reading('s/1', 1))], []);
    expect((await own.count({})).get('reading')).to.equal(1);
    expect((await own.records({ kinds: ['reading'] })).records).to.have.length(1);
    expect(await own.verify()).to.include({ intact: true, records: 1 });
    await own.close();
  });

  it('keep what is wrong with them', async () => {
    const failure = await ledger.records({ limit: 10_001 }).catch((cause) => cause);
    expect(failure).to.include({ code: 'query-unusable' });
    expect(failure.message).to.contain('a whole number from 1 to 10000');
  });
});

describe('questions of the flow', () => {
  it('name the kinds, none of them readings, and one place', () => {
    const asked = { kinds: ['comparison'], subject: 'OP1', currentOnly: true, limit: 50 } as const;
    expect(isOfTheFlow(asked)).to.equal(true);
    const others = [
      { ...asked, kinds: ['comparison', 'reading'] as const },
      { ...asked, subject: 's/' },
      { ...asked, limit: 1001 },
      { kinds: asked.kinds },
      { subject: 'OP1' },
      { ids: ['a'] },
    ];
    expect(others.map(isOfTheFlow)).to.deep.equal(others.map(() => false));
  });
});

describe('snapshots of a file that is written to', () => {
  let folder: string;
  let writing: DatabaseSync;
  const reading = (largestLogBytes: number) => {
    const database = new DatabaseSync(join(folder, 'a.sqlite'), { readOnly: true });
    return { database, snapshots: new Snapshots(database, () => 1, largestLogBytes) };
  };
  const amount = (database: DatabaseSync) => (database.prepare('select count(*) as n from t').get() as { n: number }).n;
  beforeEach(() => {
    folder = mkdtempSync(join(tmpdir(), 'phaseloom-snapshots-'));
    writing = new DatabaseSync(join(folder, 'a.sqlite'));
    writing.exec('pragma journal_mode = wal; pragma wal_autocheckpoint = 10; create table t (i)');
  });
  afterEach(() => {
    writing.close();
    rmSync(folder, { recursive: true, force: true });
  });

  it('do not move while they are read, and are new after giving way', async () => {
    const { database, snapshots } = reading(2);
    const seen = await snapshots.within(async () => {
      const counts = [amount(database)];
      writing.exec('insert into t values (1)');
      counts.push(amount(database));
      await snapshots.giveWay();
      return [...counts, amount(database)];
    });
    expect(seen).to.deep.equal([0, 0, 1]);
    database.close();
  });

  it('come one after the other, also after one that failed, and let others in where they give way', async () => {
    const { database, snapshots } = reading(2);
    const order: string[] = [];
    const failed = snapshots.within(async () => {
      order.push('a');
      await turn();
      await snapshots.giveWay();
      order.push('a again');
      throw new Error('told');
    });
    const second = snapshots.within(async () => order.push('b'));
    expect(await failed.catch((cause: Error) => cause.message)).to.equal('told');
    await second;
    expect(order).to.deep.equal(['a', 'b', 'a again']);
    expect(await snapshots.within(async () => amount(database))).to.equal(0);
    database.close();
  });

  it('leave the log a moment to begin anew, however many ask one thing after the other', async () => {
    const readers = [reading(0), reading(0)];
    const begun = [0, 0];
    let isOver = false;
    // Each goes on until the other has begun anew, so that one of them is always reading, unless neither may begin.
    const asking = readers.map(({ database, snapshots }, own) =>
      snapshots.within(async () => {
        const other = 1 - own;
        while (!isOver) {
          amount(database);
          const seen = begun[other];
          for (let turns = 0; turns < 5 + own && begun[other] === seen; turns++) await turn();
          await snapshots.giveWay();
          begun[own]!++;
        }
      }),
    );
    // Bytes 12 to 15 of the log count how often it began anew (sqlite.org/fileformat2.html#walformat).
    const sequence = () => readFileSync(join(folder, 'a.sqlite-wal')).readUInt32BE(12);
    writing.exec('insert into t values (1)');
    const first = sequence();
    const until = performance.now() + 20_000;
    while (sequence() === first && performance.now() < until) {
      writing.exec('insert into t values (1)');
      await turn();
    }
    isOver = true;
    await Promise.all(asking);
    for (const { database } of readers) database.close();
    expect(sequence()).to.equal(first + 1);
  });
});

describe('an answer', () => {
  it('that would fill the memory is refused before it does', () => {
    const database = new DatabaseSync(':memory:');
    const statement = database.prepare(
      `with recursive n (i) as (select 1 union all select i + 1 from n where i < ?) select i, printf('%.*c', 100, 'x') as body from n`,
    );
    expect(boundedRows(statement, [10], 1000)).to.have.length(10);
    expect(() => boundedRows(statement, [1e12], 1000))
      .to.throw('11 records of the answer already hold more than')
      .with.property('code', 'query-too-large');
    expect(boundedRows(statement, [2])).to.have.length(2);
  });
});
