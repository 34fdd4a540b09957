/** Checkpoints on a thread of their own. The outside: the size of the file and of the log beside it. */
import { existsSync, mkdtempSync, rmSync, statSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from 'chai';
import { admitted, reading } from './ledger-samples';

/** A thread runs what was built. */
const BUILT = resolve(__dirname, '../../dist/nodes/ledger/sqlite');
const { Checkpointer } = require(
  join(BUILT, 'checkpointer.js'),
) as typeof import('../../nodes/ledger/sqlite/checkpointer');
const { SqliteLedger } = require(
  join(BUILT, 'sqlite-ledger.js'),
) as typeof import('../../nodes/ledger/sqlite/sqlite-ledger');
const { ThreadedLedger } = require(
  join(BUILT, 'threaded-ledger.js'),
) as typeof import('../../nodes/ledger/sqlite/threaded-ledger');
const { identityOf } = require(
  join(BUILT, 'file-identity.js'),
) as typeof import('../../nodes/ledger/sqlite/file-identity');

const BATCHES = 5;
const SIZE = 1000;
const batch = (b: number) => Array.from({ length: SIZE }, (_, i) => admitted(reading(`F1/S${i}`, b)));

async function until(isSo: () => boolean): Promise<boolean> {
  for (let i = 0; i < 400 && !isSo(); i++) await sleep(25);
  return isSo();
}

describe('checkpoints beside the thread that writes', () => {
  let folder: string;
  let file: string;
  const fileBytes = () => statSync(file).size;
  beforeEach(() => {
    folder = mkdtempSync(join(tmpdir(), 'phaseloom-checkpoints-'));
    file = join(folder, 'ledger.sqlite');
  });
  afterEach(() => rmSync(folder, { recursive: true, force: true }));

  /** Stores without ever making a checkpoint; what it stored then stands in the log only. */
  async function writer() {
    const ledger = new SqliteLedger({ file, pragmas: ['wal_autocheckpoint = 0'] });
    await ledger.open();
    for (let b = 0; b < BATCHES; b++) await ledger.admit(batch(b), []);
    return ledger;
  }

  it('bring the log into the file when told of enough records, and not before', async () => {
    const ledger = await writer();
    const checkpointer = new Checkpointer({ file, identity: identityOf(file) });
    const before = fileBytes();
    checkpointer.wrote({ others: 7000, readings: 3999 });
    await sleep(300);
    expect(fileBytes()).to.equal(before);
    checkpointer.wrote({ readings: 1 });
    expect(await until(() => fileBytes() > before + SIZE * BATCHES * 100)).to.equal(true);
    await checkpointer.end();
    await ledger.close();
  });

  it('let the log be gone when the ledger is closed', async () => {
    const ledger = new ThreadedLedger({ file, durability: 'full', retainDays: () => Number.POSITIVE_INFINITY });
    await ledger.open();
    const before = fileBytes();
    for (let b = 0; b < 33; b++) await ledger.admit(batch(b), []);
    expect(await until(() => fileBytes() > before)).to.equal(true);
    await ledger.close();
    expect(existsSync(`${file}-wal`)).to.equal(false);
  });

  it('leave a file alone that took the place of the one meant, and can be ended', async () => {
    const ledger = await writer();
    const before = fileBytes();
    const checkpointer = new Checkpointer({ file, identity: 'another' });
    checkpointer.wrote({ others: 8000 });
    await checkpointer.end();
    await checkpointer.end();
    expect(fileBytes()).to.equal(before);
    await ledger.close();
  });
});
