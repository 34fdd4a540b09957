import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from 'chai';
import { type Broker, mosquitto } from '../kit/broker';
import { type FlowNode, nodeRed, type Rig } from '../kit/node-red';
import { brokerNode, inFile, numbered, publishAll } from './feed';
import { scaled, tell, until } from './scale';

const COUNT = scaled(400, 5000);

describe('two instances with one client id', function () {
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

  const door = (n: number): FlowNode[] => [
    { id: `ledger${n}`, type: 'phaseloom-ledger', file: `rival${n}.sqlite`, durability: 'normal' },
    {
      id: `in${n}`,
      type: 'phaseloom-readings-in',
      broker: 'broker',
      ledger: `ledger${n}`,
      topics: ['rival/#'],
      clientId: 'one-for-both',
      wires: [[], []],
    },
  ];
  const fileOf = (n: number) => inFile(join(rig.userDir, `rival${n}.sqlite`), 'rival');

  it('say so, take the session from each other, and each reading stands in the ledger of one of them', async () => {
    const warnings: string[] = [];
    await rig.deploy([brokerNode(broker.port), ...door(1)]);
    await until(
      () => rig.node('in1').counters().acked !== undefined && rig.status('in1')?.text?.startsWith('connected') === true,
      10_000,
    );
    await rig.deploy([brokerNode(broker.port), ...door(1), ...door(2)], 'nodes');
    for (const n of [1, 2]) rig.node(`in${n}`).warn = (text: string) => warnings.push(text);
    await publishAll(
      broker.port,
      'rival/P',
      Array.from({ length: COUNT }, (_, i) => numbered('rival', i)),
      200,
    );
    const held = () => new Set([...fileOf(1).terminals, ...fileOf(2).terminals]);
    await until(() => held().size >= COUNT, 20_000);
    await sleep(200);
    const both = fileOf(1).rows + fileOf(2).rows;
    tell('one client id', {
      published: COUNT,
      arrived: held().size,
      duplicates: both - held().size,
      'in the first': fileOf(1).rows,
    });
    expect(held().size).to.equal(COUNT);
    for (const n of [1, 2]) expect(fileOf(n).rows, 'each once in one ledger').to.equal(fileOf(n).distinct);
    await until(() => warnings.some((w) => /another client uses our client id one-for-both/.test(w)), 20_000);
    expect(warnings.join('\n')).to.match(/another client uses our client id one-for-both: give each its own/);
  });
});
