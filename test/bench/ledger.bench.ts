/** The SQLite ledger beside the plainest loop that stores the same rows: what duty to the contract costs. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { DatabaseSync } from 'node:sqlite';
import type { Finding } from '../../lib/records';
import { SqliteLedger } from '../../nodes/ledger/sqlite/sqlite-ledger';
import { admitted, identification, reading } from '../nodes/ledger-samples';
import { type BenchRow, report } from './report';

const BATCH = 500;
const BATCHES = 60;
const FINDINGS = 5000;
const folder = mkdtempSync(join(tmpdir(), 'phaseloom-bench-'));

const readings = Array.from({ length: BATCH * BATCHES }, (_, n) =>
  reading(`hollin-bank/F3/S${n % 400}/${n % 6}`, n / 1000, { by: 'crew 4', instrument: { id: `P-${n % 20}` } }),
);
const findings = Array.from({ length: FINDINGS }, (_, n) =>
  identification(`hollin-bank/F3/S${n % 400}/${n % 6}`, n / 1000, { from: [readings[n]!.id, readings[n + 1]!.id] }),
);

async function main(): Promise<void> {
  const ledger = new SqliteLedger({ file: join(folder, 'ledger.sqlite') });
  await ledger.open();
  const rows = [...(await admission(ledger)), ...(await keeping(ledger)), ...(await asking(ledger))];
  await ledger.close();
  rmSync(folder, { recursive: true });
  report('ledger', rows);
}

/** Records a second, from the median time of a batch: a busy machine stops now and then, on either side. */
async function perSecond(batches: number, size: number, store: (batch: number) => unknown): Promise<number> {
  const times: number[] = [];
  for (let b = 0; b < batches; b++) {
    const began = performance.now();
    await store(b);
    times.push(performance.now() - began);
  }
  return size / (times.sort((a, b) => a - b)[batches >> 1]! / 1000);
}

/** Rows of a plain table, id and body, in transactions of the same size and with the same durability. */
async function rawPerSecond(records: readonly { readonly id: string }[], size: number): Promise<number> {
  const file = join(folder, `raw-${records[0]!.id}-${size}.sqlite`);
  const database = new DatabaseSync(file);
  database.exec('pragma journal_mode = wal; pragma synchronous = full');
  database.exec('create table record (seq integer primary key, id text unique, body text)');
  const insert = database.prepare('insert into record (id, body) values (?, ?)');
  const rate = await perSecond(records.length / size, size, (b) => {
    database.exec('begin');
    for (const record of records.slice(b * size, (b + 1) * size)) insert.run(record.id, JSON.stringify(record));
    database.exec('commit');
  });
  database.close();
  return rate;
}

const beside = (what: string, value: number, unit: string, peer: string, peerValue: number): BenchRow => ({
  what,
  value,
  unit,
  peer: { what: peer, value: peerValue },
  ratio: value / peerValue,
});

async function admission(ledger: SqliteLedger): Promise<BenchRow[]> {
  const batches = Array.from({ length: BATCHES }, (_, b) => readings.slice(b * BATCH, (b + 1) * BATCH).map(admitted));
  const rate = await perSecond(BATCHES, BATCH, (b) => ledger.admit(batches[b]!, []));
  return [
    { what: `admit ${BATCH} readings`, value: (BATCH / rate) * 1000, unit: 'ms', aim: '5 to 10 ms' },
    beside('admit', rate, 'readings/s', 'raw inserts', await rawPerSecond(readings, BATCH)),
  ];
}

async function keeping(ledger: SqliteLedger): Promise<BenchRow[]> {
  const kept = (size: number, all: readonly Finding[]) =>
    perSecond(all.length / size, size, (b) =>
      Promise.all(all.slice(b * size, (b + 1) * size).map((finding) => ledger.keep(finding))),
    );
  const alone = Array.from({ length: 200 }, (_, n) => identification('alone', n));
  return [
    beside(
      'keep, 500 at once',
      await kept(BATCH, findings),
      'findings/s',
      'raw inserts',
      await rawPerSecond(findings, BATCH),
    ),
    beside('keep, each awaited', await kept(1, alone), 'findings/s', 'raw, one a commit', await rawPerSecond(alone, 1)),
  ];
}

async function asking(ledger: SqliteLedger): Promise<BenchRow[]> {
  const terminals = Array.from({ length: 6 }, (_, n) => `hollin-bank/F3/S${n}/${n}`);
  const latest = await perSecond(2000, 1, () => ledger.latestReadings(terminals, 3));
  const page = await perSecond(100, 1, (i) => ledger.records({ subject: `hollin-bank/F3/S${i}/`, limit: 100 }));
  return [
    { what: 'latest 3 readings of 6 terminals', value: 1e6 / latest, unit: 'us' },
    { what: 'page of 100 records of a site', value: 1e6 / page, unit: 'us' },
  ];
}

main();
