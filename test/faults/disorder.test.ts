import { join } from 'node:path';
import { DatabaseSync } from 'node:sqlite';
import { expect } from 'chai';
import { type Broker, mosquitto } from '../kit/broker';
import { at, feeder13Config, PHASES, readAt, referenceAt } from '../kit/feeder13';
import { type FlowNode, nodeRed, type Rig } from '../kit/node-red';
import { brokerNode, publishAll } from './feed';
import { scaled, seeded, shuffled, tell, until } from './scale';

const SECONDS = scaled(12, 200);
/** few, so that each is read several times */
const TERMINALS = PHASES.map((_, k) => `671/${k + 1}`);

interface Row {
  readonly id: string;
  readonly about: string;
  readonly at_us: number;
  readonly superseded_by: string | null;
}

describe('readings doubled, out of order and late', function () {
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

  const flow = (file: string): FlowNode[] => [
    ...(feeder13Config() as unknown as FlowNode[]),
    brokerNode(broker.port),
    { id: 'ledger', type: 'phaseloom-ledger', file, durability: 'normal' },
    {
      id: 'in',
      type: 'phaseloom-readings-in',
      broker: 'broker',
      ledger: 'ledger',
      topics: [`${file}/#`],
      wires: [['out', 'id'], []],
    },
    {
      id: 'id',
      type: 'phaseloom-phase-id',
      frame: 'frame',
      network: 'network',
      ledger: 'ledger',
      wires: [['found'], []],
    },
    rig.probe('out'),
    rig.probe('found'),
  ];

  /** Publishes and gives what the ledger then holds of identifications. */
  async function run(file: string, messages: readonly object[], distinct: number): Promise<Row[]> {
    await rig.deploy(flow(file));
    await until(() => rig.status('in')?.text?.startsWith('connected') === true, 10_000);
    await publishAll(broker.port, `${file}/P`, messages, 2000);
    await until(() => {
      const { stored, duplicates } = rig.node('in').counters();
      return stored + duplicates >= messages.length;
    }, 30_000);
    await until(() => rig.got('out').length >= distinct, 30_000);
    await until(() => rig.got('found').length >= distinct / 2, 3000);
    const database = new DatabaseSync(join(rig.userDir, file), { readOnly: true });
    try {
      const { n } = database.prepare('select count(*) as n from reading').get() as { n: number };
      const { duplicates } = rig.node('in').counters();
      tell(file, { published: messages.length, arrived: n + duplicates, duplicates, 'in ledger': n });
      expect(n).to.equal(distinct);
      expect(duplicates).to.equal(messages.length - distinct);
      expect(rig.got('out'), 'each is sent into the flow once').to.have.length(distinct);
      return database
        .prepare("select id, about, at_us, superseded_by from finding where kind = 'identification' order by seq")
        .all() as unknown as Row[];
    } finally {
      database.close();
    }
  }

  const readings = () => {
    const seconds = Array.from({ length: SECONDS }, (_, s) => s);
    return seconds.flatMap((s) => [
      referenceAt(at(s)),
      readAt(TERMINALS[s % TERMINALS.length]!, { atUs: at(s), against: 'utc' }),
    ]);
  };
  const currentOf = (rows: readonly Row[]) => rows.filter((r) => r.superseded_by === null);

  it('each is stored once; of each subject the newest finding holds, whatever the order in which they came', async () => {
    const made = readings();
    const mixed = shuffled([...made, ...made], seeded(20260504));
    const rows = await run('mixed', mixed, made.length);
    const abouts = new Set(rows.map((r) => r.about));
    expect([...abouts]).to.have.members(TERMINALS);
    expect(rows.length, 'some were superseded').to.be.greaterThan(TERMINALS.length);
    expect(currentOf(rows)).to.have.length(abouts.size);
    for (const { about, at_us } of currentOf(rows)) {
      expect(at_us, about).to.equal(Math.max(...rows.filter((r) => r.about === about).map((r) => r.at_us)));
    }
  });

  it('a reading that comes an hour late is stored and judged, and does not displace what is newer', async () => {
    const terminal = TERMINALS[0]!;
    const newer = [3600, 3601].flatMap((s) => [referenceAt(at(s)), readAt(terminal, { atUs: at(s), against: 'utc' })]);
    const late = [referenceAt(at(0)), readAt(terminal, { atUs: at(0), against: 'utc' })];
    const rows = await run('late', [...newer, ...late], newer.length + late.length);
    expect(currentOf(rows).map((r) => r.at_us)).to.deep.equal([at(3601)]);
    expect(rows.map((r) => r.at_us)).to.include(at(0));
    expect(rows.find((r) => r.at_us === at(0))!.superseded_by).to.be.a('string');
  });
});
