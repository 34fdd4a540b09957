import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from 'chai';
import { PostgresLedger } from '../../nodes/ledger/postgres/postgres-ledger';
import { type FlowNode, nodeRed, type Rig } from '../kit/node-red';
import { type PostgresServer, startPostgres } from '../kit/postgres';
import { admitted, reading } from './ledger-samples';

const DOOR = 'in';

describe('readings in, several workers on one PostgreSQL ledger', function () {
  this.timeout(60_000);
  let server: PostgresServer;
  let rig: Rig;
  before(async () => {
    [server, rig] = await Promise.all([startPostgres(), nodeRed()]);
  });
  after(async () => {
    await rig.deploy([]);
    await server.stop();
  });

  const flow = (): FlowNode[] => [
    { id: 'ledger', type: 'phaseloom-ledger', driver: 'postgres', credentials: { connection: server.connection } },
    { id: DOOR, type: 'phaseloom-readings-in', ledger: 'ledger', settleS: 0, wires: [['good'], ['bad']] },
    rig.probe('good'),
    rig.probe('bad'),
  ];
  const terminals = () => new Set(rig.got('good').map((msg) => msg.payload.terminal as string));
  const enter = (terminal: string, second: number) => rig.node(DOOR).enter(reading(terminal, second));

  it('what another worker stored and never sent enters the flow, while this one goes on', async () => {
    await rig.deploy(flow());
    await enter('mine/0', 0);
    const dead = new PostgresLedger({ connection: server.connection });
    await dead.open();
    const left = Array.from({ length: 40 }, (_, n) => ({ ...admitted(reading(`left/${n}`, n)), door: DOOR }));
    await dead.admit(left, []);
    await dead.close();
    for (let n = 1; n <= 5; n++) await enter(`mine/${n}`, n);
    for (let i = 0; terminals().size < 46 && i < 100; i++) await sleep(100);
    const expected = [...left.map((l) => l.reading.terminal), ...[0, 1, 2, 3, 4, 5].map((n) => `mine/${n}`)];
    expect([...terminals()].sort()).to.deep.equal(expected.sort());
    expect(rig.got('good'), 'each once').to.have.length(46);
  });
});
