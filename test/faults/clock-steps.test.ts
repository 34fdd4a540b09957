import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { DatabaseSync } from 'node:sqlite';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from 'chai';
import { type Broker, mosquitto } from '../kit/broker';
import { type ChildRed, childRed } from '../kit/child-red';
import type { FlowNode } from '../kit/node-red';
import { brokerNode, inFile, numbered, publishAll } from './feed';
import { type Receiver, receiver } from './receiver';
import { scaled, tell, until } from './scale';

const COUNT = scaled(400, 4000);
const HOUR_MS = 3_600_000;
const DAY_MS = 24 * HOUR_MS;

const flow = (port: number, url: string): FlowNode[] => [
  brokerNode(port),
  { id: 'ledger', type: 'phaseloom-ledger', file: 'clock.sqlite', durability: 'normal' },
  {
    id: 'in',
    type: 'phaseloom-readings-in',
    broker: 'broker',
    ledger: 'ledger',
    topics: ['clock/#'],
    settleS: 0,
    wires: [['off'], []],
  },
  {
    id: 'off',
    type: 'phaseloom-handoff',
    ledger: 'ledger',
    destination: 'outside',
    way: 'http',
    url,
    timeoutS: '0.5',
    longestPauseS: '1',
    wires: [[], []],
  },
];

describe('the clock of the machine is set', function () {
  this.timeout(120_000);
  let broker: Broker;
  let there: Receiver;
  let red: ChildRed;
  let folder: string;
  beforeEach(async () => {
    [broker, there] = await Promise.all([mosquitto(), receiver()]);
    folder = mkdtempSync(join(tmpdir(), 'phaseloom-clock-'));
    process.env.CLOCK_FILE = join(folder, 'shift');
  });
  afterEach(async () => {
    await red?.kill();
    await there.down();
    await broker.stop();
    delete process.env.CLOCK_FILE;
    rmSync(folder, { recursive: true, force: true });
  });

  for (const [name, shiftMs] of [
    ['back by an hour', -HOUR_MS],
    ['forward by an hour', HOUR_MS],
  ] as const) {
    it(`${name}: all is stored once in the order it came, and what was to be tried again in a second is`, async () => {
      red = await childRed(flow(broker.port, there.url), resolve(__dirname, '../kit/shifted-clock.cjs'));
      await red.start();
      await until(() => red.log().includes('connected to the broker as'), 20_000);
      const file = join(red.userDir, 'clock.sqlite');
      // Taken a day ago: neither clock finds them in the future.
      const readings = Array.from({ length: COUNT }, (_, i) => numbered('clock', i, Date.now() - DAY_MS + i));
      const published = publishAll(broker.port, 'clock/P', readings, 150);
      const delivered = () => new Set(there.processed.map(({ key }) => key)).size;
      await until(() => delivered() >= 20, 20_000);
      await there.down();
      await sleep(1500);
      const atStep = inFile(file, 'clock').rows;
      const deliveredAtStep = delivered();
      writeFileSync(process.env.CLOCK_FILE!, String(shiftMs));
      await sleep(300);
      await there.up();
      await published;
      await until(() => inFile(file, 'clock').rows >= COUNT && delivered() >= COUNT, 20_000);
      const { rows, distinct, terminals } = inFile(file, 'clock');
      const keys = there.processed.length;
      tell(`set ${name}`, {
        published: COUNT,
        arrived: distinct,
        duplicates: rows - distinct,
        'stored when it was set': atStep,
        'handed off when it was set': deliveredAtStep,
        'handed off': delivered(),
        'handed off again': keys - delivered(),
      });
      expect(atStep, 'it was set in mid-stream').to.be.within(1, COUNT - 1);
      expect({ rows, distinct, delivered: delivered() }).to.deep.equal({
        rows: COUNT,
        distinct: COUNT,
        delivered: COUNT,
      });
      const database = new DatabaseSync(file, { readOnly: true });
      const { step } = database
        .prepare('select max(received_at_us) - min(received_at_us) as step from reading')
        .get() as {
        step: number;
      };
      const inOrder = database.prepare('select terminal from reading order by seq').all() as { terminal: string }[];
      database.close();
      expect(step / 1000, 'the process did see another time').to.be.greaterThan(HOUR_MS / 2);
      expect(inOrder.map(({ terminal }) => terminal)).to.deep.equal(readings.map(({ terminal }) => terminal));
      expect(terminals).to.have.length(COUNT);
      expect(red.log(), 'a step of the clock is no outage').not.to.match(/the ledger takes nothing/);
    });
  }
});
