import { join, resolve } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from 'chai';
import { type Broker, mosquitto } from '../kit/broker';
import { at, feeder13Config, readAt } from '../kit/feeder13';
import { type FlowNode, nodeRed, type Rig } from '../kit/node-red';
import { type PostgresServer, startPostgres } from '../kit/postgres';
import { type SlowLine, slowLine } from '../kit/slow-line';
import { brokerNode, numbered, publishAll } from './feed';
import { scaled, tell, until } from './scale';

const COUNT = scaled(900, 10_000);
const PER_SECOND = 300;
const AWAY_MS = scaled(2500, 12_000);

interface Fault {
  readonly name: string;
  /** whether acknowledging must come to rest while it lasts */
  readonly stops: boolean;
  begin(database: PostgresServer, line: SlowLine): Promise<unknown>;
  end(database: PostgresServer, line: SlowLine): Promise<unknown>;
}

const FAULTS: readonly Fault[] = [
  {
    name: 'PostgreSQL stopped for a while',
    stops: true,
    begin: (database) => database.halt('fast'),
    end: (database) => database.start(),
  },
  {
    name: 'PostgreSQL killed in the middle of its work',
    stops: true,
    begin: (database) => database.halt('immediate'),
    end: (database) => database.start(),
  },
  {
    name: 'PostgreSQL behind a line of 600 ms each way',
    stops: false,
    begin: async (_database, line) => (line.delayMs = 600),
    end: async (_database, line) => (line.delayMs = 0),
  },
];

describe('the database away', function () {
  this.timeout(180_000);
  let rig: Rig;
  let broker: Broker;
  let database: PostgresServer;
  let line: SlowLine;
  before(async () => {
    [rig, broker, database] = await Promise.all([nodeRed(), mosquitto(), startPostgres()]);
    line = await slowLine(database.port);
  });
  after(async () => {
    await rig.deploy([]);
    await line?.close();
    await broker?.stop();
    await database?.stop();
  });

  const overLine = () => `postgresql://tester@127.0.0.1:${line.port}/postgres`;
  const flow = (prefix: string, connection: string): FlowNode[] => [
    brokerNode(broker.port),
    { id: 'ledger', type: 'phaseloom-ledger', driver: 'postgres', credentials: { connection } },
    {
      id: 'in',
      type: 'phaseloom-readings-in',
      broker: 'broker',
      ledger: 'ledger',
      topics: [`${prefix}/#`],
      settleS: 0,
      wires: [['out'], []],
    },
    rig.probe('out'),
  ];
  const stored = async (table: string, prefix: string) => {
    const [row] = await database.sql(
      `select count(*)::int as n, count(distinct terminal)::int as terminals from ${table} where terminal like '${prefix}/%'`,
    );
    return row as { n: number; terminals: number };
  };
  /** What entered the flow of one case: readings of an earlier one may be sent again after a deployment. */
  const out = (prefix: string) =>
    rig
      .got('out')
      .map((msg) => msg.payload.terminal as string)
      .filter((terminal) => terminal.startsWith(`${prefix}/`));
  const sent = (prefix: string) => new Set(out(prefix)).size;
  const acked = (): number => rig.node('in').counters().acked;

  FAULTS.forEach((fault, i) => {
    it(`${fault.name}: it is told, taking rests, and all is stored once when it is over`, async () => {
      const prefix = `away${i}`;
      await rig.deploy(flow(prefix, fault.stops ? database.connection : overLine()));
      await until(() => rig.status('in')?.text?.startsWith('connected') === true, 20_000);
      const readings = Array.from({ length: COUNT }, (_, n) => numbered(prefix, n));
      const published = publishAll(broker.port, `${prefix}/P`, readings, PER_SECOND);
      await until(() => acked() >= COUNT / 6, 20_000);
      await fault.begin(database, line);
      // What was committed a moment before may still be acknowledged.
      await sleep(100);
      const ackedAtBegin = acked();
      await until(() => /ledger/.test(rig.status('in')?.text ?? ''), 10_000);
      const status = rig.status('in');
      await sleep(AWAY_MS);
      const ackedAtEnd = acked();
      await fault.end(database, line);
      await published;
      await until(async () => (await stored('phaseloom.reading', prefix)).n >= COUNT && sent(prefix) >= COUNT, 60_000);
      await sleep(300);
      const { n, terminals } = await stored('phaseloom.reading', prefix);
      tell(fault.name, {
        published: COUNT,
        arrived: terminals,
        duplicates: n - terminals,
        'acknowledged when it came': ackedAtBegin,
        'and when it went': ackedAtEnd,
        'sent into the flow': sent(prefix),
        'sent again': out(prefix).length - sent(prefix),
      });
      expect(status, 'what the node shows').to.include({ fill: 'red', shape: 'ring' });
      expect(ackedAtBegin, 'the fault came in mid-stream').to.be.within(1, COUNT - 1);
      expect(out(prefix).length - COUNT, 'sent again: only what was sent before and not yet noted').to.be.at.most(
        ackedAtEnd,
      );
      if (fault.stops) expect(ackedAtEnd, 'acknowledged while nothing could be stored').to.equal(ackedAtBegin);
      expect({ n, terminals, sent: sent(prefix) }).to.deep.equal({ n: COUNT, terminals: COUNT, sent: COUNT });
      await until(() => rig.status('in')?.text?.startsWith('connected') === true, 15_000);
      expect(rig.status('in')?.fill, 'well again without a hand').to.equal('green');
    });
  });

  it('a judgement given up while the database was away is made when it is back: its reading is sent again', async () => {
    const [broker_, ledger, door, out_] = flow('readings', database.connection);
    await rig.deploy([
      broker_!,
      ledger!,
      ...(feeder13Config() as FlowNode[]),
      { ...door!, wires: [['phase', 'out'], []] },
      {
        id: 'phase',
        type: 'phaseloom-phase-id',
        frame: 'frame',
        network: 'network',
        ledger: 'ledger',
        waitS: 2,
        wires: [['found']],
      },
      rig.probe('found'),
      out_!,
    ]);
    await until(() => rig.status('in')?.text?.startsWith('connected') === true, 20_000);
    const { id: _made, ...reading } = readAt('671/2', { atUs: at(0), against: 'utc' });
    await publishAll(broker.port, 'readings/P', [reading], PER_SECOND);
    await rig.until('out', 1, 20_000);
    await database.halt('fast');
    // The ledger is asked again for some fifteen seconds.
    await until(() => rig.errors.some(({ code }) => code === 'ledger-unreadable'), 40_000);
    expect(rig.got('found'), 'found without the ledger').to.deep.equal([]);
    await database.start();
    const [finding] = await rig.until('found', 1, 30_000);
    expect(finding!.payload).to.include({ kind: 'identification', terminal: '671/2' });
    await until(async () => (await database.sql('select 1 from phaseloom.finding')).length === 1, 20_000);
  });

  it('the flow deployed a moment after PostgreSQL was restarted: what was sent is not sent again', async () => {
    await rig.deploy(flow('deployed', database.connection));
    await until(() => rig.status('in')?.text?.startsWith('connected') === true, 20_000);
    const readings = Array.from({ length: COUNT }, (_, n) => numbered('deployed', n));
    const published = publishAll(broker.port, 'deployed/P', readings, PER_SECOND);
    await until(() => acked() >= COUNT / 6, 20_000);
    await database.halt('fast');
    await sleep(AWAY_MS);
    await database.start();
    await published;
    await until(() => sent('deployed') >= COUNT, 60_000);
    await rig.deploy(flow('deployed', database.connection));
    const afterwards = numbered('deployed', COUNT);
    await until(() => rig.status('in')?.text?.startsWith('connected') === true, 20_000);
    await publishAll(broker.port, 'deployed/P', [afterwards], PER_SECOND);
    await until(() => out('deployed').includes(afterwards.terminal), 20_000);
    const again = out('deployed').length - 1;
    tell('deployed after a restart', { published: COUNT + 1, arrived: COUNT + 1, duplicates: 0, 'sent again': again });
    expect(out('deployed')).to.deep.equal([afterwards.terminal]);
  });

  /** What an integrator would write by hand: core mqtt in, and a function that inserts each reading and says what failed. */
  const byHand = (): FlowNode[] => [
    { ...brokerNode(broker.port), clientid: 'by-hand', cleansession: false, sessionExpiry: '3600', autoConnect: true },
    {
      id: 'in',
      type: 'mqtt in',
      broker: 'broker',
      topic: 'hand/#',
      qos: '1',
      datatype: 'json',
      inputs: 0,
      rap: true,
      rh: 0,
      wires: [['insert']],
    },
    {
      id: 'insert',
      type: 'function',
      outputs: 0,
      libs: [{ var: 'nodeModule', module: 'module' }],
      initialize: `const { Pool } = nodeModule.createRequire(${JSON.stringify(join(resolve(__dirname, '../..'), 'package.json'))})('pg');
        const pool = new Pool({ connectionString: '${database.connection}' });
        pool.on('error', () => {});
        context.set('pool', pool);`,
      finalize: `return context.get('pool').end();`,
      func: `context.get('pool').query('insert into by_hand (terminal) values ($1)', [msg.payload.terminal])
        .catch((cause) => node.error(cause.message));
        return null;`,
      wires: [],
    },
  ];

  it('the lossy control, core mqtt in and a function that inserts, shows that this test can see loss', async () => {
    await database.sql('create table by_hand (terminal text)');
    await rig.deploy(byHand());
    const readings = Array.from({ length: COUNT }, (_, n) => numbered('hand', n));
    await until(() => rig.status('in')?.fill === 'green', 10_000);
    const published = publishAll(broker.port, 'hand/P', readings, PER_SECOND);
    await until(async () => (await stored('by_hand', 'hand')).n >= COUNT / 6, 20_000);
    await database.halt('fast');
    await sleep(500);
    await database.start();
    await published;
    let now = await stored('by_hand', 'hand');
    for (let before = -1; before !== now.n; now = await stored('by_hand', 'hand')) {
      before = now.n;
      await sleep(1000);
    }
    tell('the lossy control', { published: COUNT, arrived: now.terminals, duplicates: now.n - now.terminals });
    expect(now.terminals, 'kept by the control').to.be.within(1, COUNT - 1);
  });
});
