import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from 'chai';
import { type Broker, mosquitto } from '../kit/broker';
import { feeder13Config } from '../kit/feeder13';
import { type FlowNode, nodeRed, type Rig } from '../kit/node-red';
import { brokerNode, inFile, numbered } from './feed';
import { scaled, tell, until } from './scale';

const DEPLOYS = scaled(20, 100);
const PER_SECOND = 100;

describe('deploys', function () {
  this.timeout(200_000);
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

  const flow = (name: string): FlowNode[] => [
    ...(feeder13Config() as unknown as FlowNode[]),
    brokerNode(broker.port),
    { id: 'ledger', type: 'phaseloom-ledger', file: 'deploys.sqlite', durability: 'normal' },
    {
      id: 'in',
      type: 'phaseloom-readings-in',
      name,
      broker: 'broker',
      ledger: 'ledger',
      topics: ['deploy/#'],
      settleS: 1,
      wires: [['screen', 'id', 'turn', 'tie'], []],
    },
    { id: 'screen', type: 'phaseloom-screen', name, frame: 'frame', ledger: 'ledger', wires: [[], []] },
    {
      id: 'id',
      type: 'phaseloom-phase-id',
      name,
      frame: 'frame',
      network: 'network',
      ledger: 'ledger',
      wires: [['desk'], []],
    },
    {
      id: 'turn',
      type: 'phaseloom-rotation',
      name,
      frame: 'frame',
      network: 'network',
      ledger: 'ledger',
      wires: [['desk'], []],
    },
    {
      id: 'tie',
      type: 'phaseloom-tie-check',
      name,
      frame: 'frame',
      network: 'network',
      ledger: 'ledger',
      wires: [['desk'], []],
    },
    { id: 'desk', type: 'phaseloom-alert-desk', name, ledger: 'ledger', wires: [['off'], []] },
    { id: 'off', type: 'phaseloom-handoff', name, ledger: 'ledger', way: 'mqtt', broker: 'broker', wires: [[], []] },
    { id: 'metrics', type: 'phaseloom-metrics', name, wires: [[]] },
  ];

  /** Everything of ours that could pile up: listeners of the runtime and the process, those of the ledger, sockets, timers. */
  const counts = () => {
    const { events } = require('node-red');
    const resources = process.getActiveResourcesInfo();
    const listenersOf = (e: { eventNames(): (string | symbol)[]; listenerCount(n: string | symbol): number }) =>
      e.eventNames().reduce((sum, n) => sum + e.listenerCount(n), 0);
    return {
      runtime: listenersOf(events),
      process: listenersOf(process),
      ledger: rig.node('ledger').ledger.listeners.listeners.size as number,
      sockets: resources.filter((name) => name === 'TCPSocketWrap').length,
    };
  };
  const settled = async () => {
    await until(() => rig.status('in')?.text?.startsWith('connected') === true, 10_000);
    await until(() => rig.node('ledger').ledger !== undefined, 10_000);
    await sleep(600);
  };

  it(`${DEPLOYS} under load leave no listener, socket or watched node behind, and lose nothing`, async () => {
    await rig.deploy(flow('0'));
    await settled();
    const before = counts();
    let published = 0;
    let isOver = false;
    const { connectAsync } = await import('mqtt');
    const client = await connectAsync(broker.url);
    const load = (async () => {
      while (!isOver) {
        await client.publishAsync('deploy/P', JSON.stringify(numbered('deploy', published)), { qos: 1 });
        published++;
        await sleep(1000 / PER_SECOND);
      }
    })();
    for (let i = 1; i <= DEPLOYS; i++) {
      await sleep(100);
      await rig.deploy(flow(String(i)), (['full', 'nodes', 'flows'] as const)[i % 3]);
    }
    isOver = true;
    await load;
    await client.endAsync();
    await settled();
    const path = join(rig.userDir, 'deploys.sqlite');
    await until(() => inFile(path, 'deploy').rows >= published, 15_000);
    const { rows, distinct } = inFile(path, 'deploy');
    tell(`${DEPLOYS} deploys`, { published, arrived: distinct, duplicates: rows - distinct });
    expect({ rows, distinct }).to.deep.equal({ rows: published, distinct: published });
    await sleep(300);
    expect(counts()).to.deep.equal(before);
    const page = await (await fetch(`http://127.0.0.1:${rig.port}/red/phaseloom/metrics`)).text();
    expect(page.match(/^phaseloom_readings_in_received_total\{/gm)).to.have.length(1);
  });
});
