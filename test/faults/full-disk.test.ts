import { appendFileSync, existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from 'chai';
import { type Broker, mosquitto } from '../kit/broker';
import { type FlowNode, nodeRed, type Rig } from '../kit/node-red';
import { type SmallDisk, smallDisk } from '../kit/small-disk';
import { brokerNode, inFile, numbered, publishAll } from './feed';
import { scaled, tell, until } from './scale';

const COUNT = scaled(600, 6000);
const PER_SECOND = 500;
const DISK_MB = scaled(24, 64);

/** The operating system itself refuses the write; disk.test.ts makes the same fault in SQLite where nothing may be mounted. */
describe('a disk that is really full, or really read-only', function () {
  this.timeout(120_000);
  let rig: Rig;
  let broker: Broker;
  let disk: SmallDisk | undefined;
  before(async function () {
    const made = smallDisk(DISK_MB);
    if ('why' in made) {
      console.log(`      skipped: ${made.why}`);
      return this.skip();
    }
    disk = made;
    rig = await nodeRed();
    broker = await mosquitto();
  });
  after(async () => {
    await rig?.deploy([]);
    await broker?.stop();
    disk?.remove();
  });

  const flow = (file: string, prefix: string): FlowNode[] => [
    brokerNode(broker.port),
    { id: 'ledger', type: 'phaseloom-ledger', file },
    {
      id: 'in',
      type: 'phaseloom-readings-in',
      broker: 'broker',
      ledger: 'ledger',
      topics: [`${prefix}/#`],
      wires: [['out'], []],
    },
    rig.probe('out'),
  ];
  const readings = (prefix: string) => Array.from({ length: COUNT }, (_, n) => numbered(prefix, n));
  const connected = () => until(() => rig.status('in')?.text?.startsWith('connected') === true, 10_000);

  /** All that was published stands in the file once, and was sent into the flow. */
  async function allIsThere(file: string, prefix: string, more: Record<string, number>): Promise<void> {
    await until(() => inFile(file, prefix).rows >= COUNT && rig.got('out').length >= COUNT, 40_000);
    await sleep(200);
    const { rows, distinct } = inFile(file, prefix);
    tell(prefix, { published: COUNT, arrived: distinct, duplicates: rows - distinct, ...more });
    expect({ rows, distinct }).to.deep.equal({ rows: COUNT, distinct: COUNT });
    expect(new Set(rig.got('out').map((m) => m.payload.terminal)).size).to.equal(COUNT);
  }

  it('full in mid-stream: nothing is acknowledged that is not stored, it is told, and all is stored once when there is room', async () => {
    const file = join(disk!.folder, 'full.sqlite');
    await rig.deploy(flow(file, 'full'));
    await connected();
    const published = publishAll(broker.port, 'full/P', readings('full'), PER_SECOND);
    await until(() => inFile(file, 'full').rows >= COUNT / 4, 20_000);
    const { ledger } = rig.node('ledger');
    disk!.fill();
    await until(async () => !(await ledger.health()).ok, 20_000);
    const { ok, error } = await ledger.health();
    const during = inFile(file, 'full').rows;
    await sleep(500);
    const acked = rig.node('in').counters().acked;
    disk!.free();
    expect(ok).to.equal(false);
    expect(error).to.match(/no room left|failed to read or write/);
    expect(during, 'the fault came in mid-stream').to.be.lessThan(COUNT);
    expect(acked, 'an acknowledgement without a commit').to.be.at.most(inFile(file, 'full').rows);
    await published;
    await allIsThere(file, 'full', { 'stored when it came': during });
    expect((await ledger.health()).ok).to.equal(true);
  });

  it('the lossy control, core mqtt in and a function that appends to a file there, loses what comes meanwhile', async () => {
    const file = join(disk!.folder, 'hand.txt');
    appendFileSync(file, '');
    await rig.deploy([
      { ...brokerNode(broker.port), clientid: 'hand', autoConnect: true },
      {
        id: 'core',
        type: 'mqtt in',
        broker: 'broker',
        topic: 'hand/#',
        qos: '1',
        datatype: 'json',
        inputs: 0,
        nl: false,
        rap: true,
        rh: 0,
        wires: [['f']],
      },
      {
        id: 'f',
        type: 'function',
        outputs: 0,
        libs: [{ var: 'fs', module: 'fs' }],
        func: `fs.appendFileSync(${JSON.stringify(file)}, msg.payload.terminal + ' '.repeat(4096) + '\\n'); return null;`,
        wires: [],
      },
    ]);
    await sleep(1000);
    const published = publishAll(broker.port, 'hand/P', readings('hand'), PER_SECOND);
    await sleep((COUNT / PER_SECOND) * 250);
    disk!.fill();
    await sleep((COUNT / PER_SECOND) * 250);
    disk!.free();
    await published;
    await sleep(1000);
    const kept = new Set(readFileSync(file, 'utf8').match(/hand\/\d+/g)).size;
    tell('the lossy control', { published: COUNT, arrived: kept, duplicates: 0 });
    expect(kept).to.be.within(1, COUNT - 1);
  });

  it('read-only when the ledger is to be opened: it is told, and all is stored once when it may be written', async () => {
    const file = join(disk!.folder, 'fixed.sqlite');
    await rig.deploy([]);
    disk!.readOnly(true);
    try {
      await rig.deploy(flow(file, 'fixed'));
      await until(() => rig.status('in')?.text?.startsWith('ledger away') === true, 10_000);
      expect(rig.status('in')).to.include({ fill: 'red' });
      expect(existsSync(file)).to.equal(false);
    } finally {
      disk!.readOnly(false);
    }
    await connected();
    await publishAll(broker.port, 'fixed/P', readings('fixed'), PER_SECOND);
    await allIsThere(file, 'fixed', {});
  });
});
