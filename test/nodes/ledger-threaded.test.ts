import { spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { DatabaseSync } from 'node:sqlite';
import { expect } from 'chai';
import type { PhaseloomRecord } from '../../lib/records';
import type { Call } from '../../nodes/ledger/sqlite/thread-talk';
import type { ThreadedLedger as Threaded } from '../../nodes/ledger/sqlite/threaded-ledger';
import { type LedgerUnderTest, ledgerLaws } from './ledger-laws';
import { admitted, alert, identification, reading, rejection } from './ledger-samples';

/** A thread runs what was built. */
const BUILT = resolve(__dirname, '../../dist/nodes/ledger');
const { ThreadedLedger } = require(
  join(BUILT, 'sqlite/threaded-ledger.js'),
) as typeof import('../../nodes/ledger/sqlite/threaded-ledger');
const { LedgerThread } = require(
  join(BUILT, 'sqlite/ledger-thread.js'),
) as typeof import('../../nodes/ledger/sqlite/ledger-thread');
const { borrowLedger } = require(
  join(BUILT, 'shared-ledgers.js'),
) as typeof import('../../nodes/ledger/shared-ledgers');

interface ThreadedUnderTest extends LedgerUnderTest {
  readonly ledger: Threaded;
  readonly file: string;
}

async function make(): Promise<ThreadedUnderTest> {
  const folder = mkdtempSync(join(tmpdir(), 'phaseloom-ledger-'));
  const file = join(folder, 'ledger.sqlite');
  const another = async () => {
    const ledger = new ThreadedLedger({ file, durability: 'full', retainDays: () => Number.POSITIVE_INFINITY });
    await ledger.open();
    return ledger;
  };
  const ledger = await another();
  const refuseWhen = async (table: string, condition: string) => {
    const database = new DatabaseSync(file);
    database.exec(
      `create trigger no before insert on ${table} when ${condition} begin select raise(abort, 'refused'); end`,
    );
    database.close();
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

const codeOf = (promise: Promise<unknown>) =>
  promise.then(
    () => 'none',
    (cause: { code?: string }) => cause.code,
  );

ledgerLaws('SQLite on its thread', make);

describe('SQLite on a thread of its own', () => {
  let bench: ThreadedUnderTest;
  beforeEach(async () => {
    bench = await make();
  });
  afterEach(() => bench.destroy());

  it('tells listeners of the very records that were given, before it answers', async () => {
    const { ledger } = bench;
    const heard: PhaseloomRecord[] = [];
    ledger.onCommit((records) => heard.push(...records));
    const [finding, turned, raised] = [identification('s/1', 1), rejection('s/2', 1), alert('a', 1, 1)];
    const heardBefore = (promise: Promise<unknown>) => promise.then(() => heard.length);
    const told = await Promise.all([
      heardBefore(ledger.keep(finding)),
      heardBefore(ledger.admit([admitted(reading('s/1', 1))], [turned])),
      heardBefore(ledger.saveAlert(raised)),
    ]);
    expect(heard).to.have.members([finding, turned, raised]);
    expect(told).to.deep.equal([3, 3, 3]);
    await ledger.keep(finding);
    expect(heard.length, 'nothing is new').to.equal(3);
  });

  it('answers each of many calls of one moment with its own, and keeps texts of every kind', async () => {
    const { ledger } = bench;
    const texts = ['line\nfeed', 'quote " and \\', 'Umlaut ä, 相位, 😀', '\u2028'];
    const batches = Array.from({ length: 40 }, (_, b) =>
      Array.from({ length: 5 }, (_, i) => admitted(reading(`s/${b}/${i}`, b, { by: texts[(b + i) % texts.length]! }))),
    );
    const places = await Promise.all(batches.map((batch) => ledger.admit(batch, [])));
    const stored = await ledger.readingsAfter(0, 1000);
    const seqOf = new Map(stored.map(({ seq, reading: { id } }) => [id, seq]));
    expect(stored.map((s) => s.reading)).to.deep.equal(batches.flat().map((a) => a.reading));
    for (const [b, batch] of batches.entries()) {
      const expected = batch.map((a) => ({ seq: seqOf.get(a.reading.id), isNew: true }));
      expect(places[b]!.readings).to.deep.equal(expected);
    }
    expect(await ledger.admit(batches[7]!, [])).to.deep.equal({
      readings: batches[7]!.map((a) => ({ seq: seqOf.get(a.reading.id), isNew: false })),
    });
  });

  it('stores or rejects what comes at the end, as it says, and leaves nobody waiting', async () => {
    const { ledger } = bench;
    const kept = ledger.keep(identification('s/1', 1));
    const closing = ledger.close();
    const late = codeOf(ledger.keep(identification('s/2', 1)));
    expect(await kept).to.deep.equal({ isNew: true });
    await closing;
    const answer = await late;
    expect(answer).to.be.oneOf(['none', 'ledger-closed']);
    expect(await codeOf(ledger.cursor('sent'))).to.equal('ledger-closed');
    expect(await ledger.health()).to.include({ ok: false, error: 'ledger ledger.sqlite is not open' });
    await ledger.open();
    expect((await ledger.health()).findings).to.equal(answer === 'none' ? 2 : 1);
  });

  it('takes no more when fifty thousand records are unanswered, and says so', async () => {
    const { ledger } = bench;
    const batch = Array.from({ length: 1000 }, (_, i) => admitted(reading(`s/${i}`, 1)));
    const calls = Array.from({ length: 51 }, () => codeOf(ledger.admit(batch, [])));
    expect(await calls[50]).to.equal('ledger-overflow');
    await Promise.all(calls);
  });

  it('takes a batch larger than all that may wait when nothing else does, or it would never be stored', async () => {
    const { ledger } = bench;
    const batch = Array.from({ length: 50_001 }, (_, i) => admitted(reading(`s/${i}`, 1)));
    const one = ledger.admit(batch, []);
    expect(await codeOf(ledger.admit(batch, [])), 'another beside it').to.equal('ledger-overflow');
    expect(await codeOf(ledger.head()), 'a question beside it').to.equal('none');
    expect((await one).readings.length).to.equal(50_001);
  });

  it('stores of a delivery what JSON can say, however a flow filled it', async () => {
    const { ledger } = bench;
    const record = { ...identification('s/1', 0), answer: () => undefined, on: new Date(0) } as PhaseloomRecord;
    await ledger.enqueue([{ destination: 'd', key: 'k', subject: 's', record }]);
    const [stored] = await ledger.deliveries({ destination: 'd' });
    expect(stored!.record).to.deep.equal({ ...identification('s/1', 0), on: '1970-01-01T00:00:00.000Z' });
    const circle: Record<string, unknown> = {};
    circle.self = circle;
    const faulty: PhaseloomRecord = Object.assign({ ...record }, { circle });
    expect(await codeOf(ledger.enqueue([{ destination: 'd', key: 'l', subject: 's', record: faulty }]))).to.not.equal(
      'none',
    );
  });

  it('refuses what cannot be copied to the thread, and nothing else of that moment', async () => {
    const { ledger } = bench;
    const faulty = { ...alert('b', 1, 1), told: () => undefined } as ReturnType<typeof alert>;
    const told = await Promise.all([
      codeOf(ledger.saveAlert(alert('a', 1, 1))),
      codeOf(ledger.saveAlert(faulty)),
      codeOf(ledger.advance('x', 3)),
    ]);
    expect(told).to.deep.equal(['none', 'ledger-not-data', 'none']);
    expect(await ledger.cursor('x')).to.equal(3);
    expect((await ledger.alerts()).map((a) => a.key)).to.deep.equal(['a']);
  });

  it('passes over an answer that was on its way when the thread was ended', async () => {
    const orders = { file: `${bench.file}4`, durability: 'full', retainDays: Number.POSITIVE_INFINITY } as const;
    const thread = new LedgerThread<Call>({
      program: 'thread-work.js',
      orders,
      label: 'ledger.sqlite4',
      endedByItself: (cause) => {
        throw cause;
      },
    });
    await thread.call({ do: 'open', args: [] });
    const late = codeOf(thread.call({ do: 'head', args: [] }));
    await new Promise((sent) => setImmediate(sent));
    // Nothing is read from the thread in the meantime.
    Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0, 300);
    await thread.end();
    expect(await late).to.equal('ledger-closed');
  });

  it('whose thread ends by itself ends the program: nothing goes on without a store', () => {
    const { file } = bench;
    const program = `
      const { ThreadedLedger } = require(${JSON.stringify(join(BUILT, 'sqlite/threaded-ledger.js'))});
      const ledger = new ThreadedLedger({ file: ${JSON.stringify(`${file}2`)}, durability: 'full', retainDays: () => Infinity });
      ledger.open().then(() => ledger.thread.worker.terminate());
      setTimeout(() => {}, 20_000);`;
    const { status, stderr } = spawnSync(process.execPath, ['-e', program], { encoding: 'utf8' });
    expect(status).to.equal(1);
    expect(stderr).to.contain('the thread of ledger ledger.sqlite2 ended by itself');
  });

  it('does not keep a program from ending', () => {
    const { file } = bench;
    const program = `
      const { ThreadedLedger } = require(${JSON.stringify(join(BUILT, 'sqlite/threaded-ledger.js'))});
      const ledger = new ThreadedLedger({ file: ${JSON.stringify(`${file}3`)}, durability: 'full', retainDays: () => Infinity });
      ledger.open().then(() => ledger.advance('x', 3)).then(() => ledger.cursor('x')).then(console.log)
        .then(() => ledger.count({})).then((counts) => console.log(counts.size));`;
    const { status, stdout } = spawnSync(process.execPath, ['-e', program], { encoding: 'utf8', timeout: 20_000 });
    expect([status, stdout.trim()]).to.deep.equal([0, '3\n0']);
  });

  it('tells who opens it, and who leaves, that the thread could not be told how long readings stay', async () => {
    let days: unknown = 30;
    const ledger = new ThreadedLedger({ file: `${bench.file}5`, durability: 'full', retainDays: () => days as number });
    await ledger.open();
    days = Symbol('no plain data');
    expect(await codeOf(ledger.retentionChanged())).to.equal('ledger-not-data');
    expect(await codeOf(ledger.open())).to.equal('ledger-not-data');
    days = 90;
    expect(await codeOf(ledger.open())).to.equal('none');
    await ledger.close();
  });

  it('goes by what the strictest of its users insists on once that one has opened it', async () => {
    const told = () => (one.ledger as unknown as { told: object }).told;
    const one = borrowLedger(`${bench.file}6`, 'normal', 30);
    await one.ledger.open();
    expect(told()).to.deep.equal({ durability: 'normal', days: 30 });
    const two = borrowLedger(`${bench.file}6`, 'full', 90);
    await two.ledger.open();
    expect(told()).to.deep.equal({ durability: 'full', days: 90 });
    await two.giveBack();
    expect(told()).to.deep.equal({ durability: 'full', days: 30 });
    await one.giveBack();
  });

  it('lets two users of one file share one ledger, which the last one closes', async () => {
    bench = await make();
    const link = join(bench.file, '..', '.', 'ledger.sqlite');
    const [one, two] = [borrowLedger(bench.file, 'normal', 30), borrowLedger(link, 'full', 90)];
    expect(one.ledger).to.equal(two.ledger);
    await one.ledger.open();
    await one.giveBack();
    await one.giveBack();
    expect(await two.ledger.keep(identification('s/1', 1))).to.deep.equal({ isNew: true });
    await two.giveBack();
    expect(await codeOf(two.ledger.keep(identification('s/2', 1)))).to.equal('ledger-closed');
  });
});
