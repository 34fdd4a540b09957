import { join } from 'node:path';
import { DatabaseSync } from 'node:sqlite';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from 'chai';
import { type Broker, mosquitto } from '../kit/broker';
import { nodeRed, type Rig } from '../kit/node-red';
import { brokerNode, inFile, numbered, publishAll } from './feed';
import { scaled, tell, until } from './scale';

const COUNT = scaled(600, 10_000);
const PER_SECOND = 500;

/**
 * The faults are made in SQLite itself, so its own result codes come up: max_page_count gives SQLITE_FULL (13) as a full disk does,
 * query_only gives SQLITE_READONLY (8), another writer SQLITE_BUSY (5); sqlite.org/rescode.html.
 */
const FAULTS: readonly { name: string; code: RegExp; begin(db: DatabaseSync, file: string): () => void }[] = [
  {
    name: 'a full disk',
    code: /no room left/,
    begin(db) {
      const { page_count } = db.prepare('pragma page_count').get() as { page_count: number };
      db.exec(`pragma max_page_count = ${page_count}`);
      return () => db.exec('pragma max_page_count = 1000000');
    },
  },
  {
    name: 'a file that may not be written',
    code: /cannot be written/,
    begin(db) {
      db.exec('pragma query_only = 1');
      return () => db.exec('pragma query_only = 0');
    },
  },
  {
    name: 'a file that another program holds',
    code: /another program holds/,
    begin(_db, file) {
      const other = new DatabaseSync(file);
      other.exec('begin immediate');
      return () => {
        other.exec('rollback');
        other.close();
      };
    },
  },
];

describe('the store in trouble', function () {
  this.timeout(120_000);
  let rig: Rig;
  let broker: Broker;
  before(async () => {
    rig = await nodeRed();
    broker = await mosquitto();
  });
  after(async () => {
    await rig.deploy([]);
    await broker.stop();
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
      const end = begin(ledger.parts.database, path);
      await until(async () => !(await ledger.health()).ok, 10_000);
      const { error } = await ledger.health();
      await sleep(500);
      const storedDuring = inFile(path, prefix).rows;
      const ackedDuring = rig.node('in').counters().acked;
      expect(storedDuring, 'the fault came in mid-stream').to.be.lessThan(COUNT);
      expect(error).to.match(code);
      expect(ackedDuring, 'an acknowledgement without a commit').to.be.at.most(storedDuring);
      end();
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
