import { join, resolve } from 'node:path';
import { DatabaseSync } from 'node:sqlite';
import { setTimeout as sleep } from 'node:timers/promises';
import { BroadcastChannel, Worker as ThreadWorker, type WorkerOptions } from 'node:worker_threads';
import { expect } from 'chai';
import { type Broker, mosquitto } from '../kit/broker';
import { nodeRed, type Rig } from '../kit/node-red';
import { brokerNode, inFile, numbered, publishAll } from './feed';
import { scaled, tell, until } from './scale';

const COUNT = scaled(600, 10_000);
const PER_SECOND = 500;

/**
 * The faults are made in SQLite itself, so its own result codes come up: max_page_count gives SQLITE_FULL (13) as a full disk does,
 * query_only gives SQLITE_READONLY (8), another writer SQLITE_BUSY (5); sqlite.org/rescode.html. The first two hold for the connection on
 * the thread of the ledger.
 */
const FAULTS: readonly { name: string; code: RegExp; begin(file: string): Promise<() => unknown> }[] = [
  {
    name: 'a full disk',
    code: /no room left/,
    async begin(file) {
      const db = new DatabaseSync(file, { readOnly: true });
      const { page_count } = db.prepare('pragma page_count').get() as { page_count: number };
      db.close();
      await onThread(file, `pragma max_page_count = ${page_count}`);
      return () => onThread(file, 'pragma max_page_count = 1000000');
    },
  },
  {
    name: 'a file that may not be written',
    code: /cannot be written/,
    async begin(file) {
      await onThread(file, 'pragma query_only = 1');
      return () => onThread(file, 'pragma query_only = 0');
    },
  },
  {
    name: 'a file that another program holds',
    code: /another program holds/,
    async begin(file) {
      const other = new DatabaseSync(file);
      other.exec('begin immediate');
      return () => {
        other.exec('rollback');
        other.close();
      };
    },
  },
];

const threads = require('node:worker_threads') as { Worker: typeof ThreadWorker };

/** A thread that can be told to carry out SQL. */
class ToldWorker extends ThreadWorker {
  constructor(file: string, options: WorkerOptions) {
    super(file, { ...options, execArgv: ['--require', resolve(__dirname, '../kit/told-on-thread.cjs')] });
  }
}

/** Has the connection to a file on its thread carry out some SQL. */
async function onThread(file: string, sql: string): Promise<void> {
  const channel = new BroadcastChannel('phaseloom-test-sql');
  const done = new Promise((resolveDone) => {
    channel.onmessage = resolveDone;
  });
  channel.postMessage({ file, sql });
  await done;
  channel.close();
}

describe('the store in trouble', function () {
  this.timeout(120_000);
  let rig: Rig;
  let broker: Broker;
  before(async () => {
    threads.Worker = ToldWorker;
    rig = await nodeRed();
    broker = await mosquitto();
  });
  after(async () => {
    await rig.deploy([]);
    await broker.stop();
    threads.Worker = ThreadWorker;
  });

  FAULTS.forEach(({ name, code, begin }, i) => {
    it(`${name}: nothing is acknowledged that is not stored, it is told, and all is stored once when it is over`, async () => {
      const prefix = `disk${i}`;
      const path = join(rig.userDir, `${prefix}.sqlite`);
      await rig.deploy([
        brokerNode(broker.port),
        { id: 'ledger', type: 'phaseloom-ledger', file: `${prefix}.sqlite`, durability: 'normal' },
        {
          id: 'in',
          type: 'phaseloom-readings-in',
          broker: 'broker',
          ledger: 'ledger',
          topics: [`${prefix}/#`],
          wires: [['out'], []],
        },
        rig.probe('out'),
      ]);
      await until(() => rig.status('in')?.text?.startsWith('connected') === true, 10_000);
      const readings = Array.from({ length: COUNT }, (_, n) => numbered(prefix, n));
      const published = publishAll(broker.port, `${prefix}/P`, readings, PER_SECOND);
      await until(() => inFile(path, prefix).rows >= COUNT / 4, 20_000);
      const ledger = rig.node('ledger').ledger;
      const end = await begin(path);
      await until(async () => !(await ledger.health()).ok, 10_000);
      const { error } = await ledger.health();
      await sleep(500);
      const storedDuring = inFile(path, prefix).rows;
      const ackedDuring = rig.node('in').counters().acked;
      expect(storedDuring, 'the fault came in mid-stream').to.be.lessThan(COUNT);
      expect(error).to.match(code);
      expect(ackedDuring, 'an acknowledgement without a commit').to.be.at.most(storedDuring);
      await end();
      await published;
      await until(() => inFile(path, prefix).rows >= COUNT && rig.got('out').length >= COUNT, 30_000);
      await sleep(200);
      const { rows, distinct } = inFile(path, prefix);
      tell(name, {
        published: COUNT,
        arrived: distinct,
        duplicates: rows - distinct,
        'stored when it came': storedDuring,
      });
      expect({ rows, distinct }).to.deep.equal({ rows: COUNT, distinct: COUNT });
      expect(new Set(rig.got('out').map((m) => m.payload.terminal)).size, 'sent into the flow').to.equal(COUNT);
      expect((await ledger.health()).ok).to.equal(true);
    });
  });
});
