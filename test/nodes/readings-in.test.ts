import { expect } from 'chai';
import { connectAsync, type MqttClient } from 'mqtt';
import type { StoredReading } from '../../nodes/ledger/ledger';
import { type Broker, mosquitto } from '../kit/broker';
import { type FlowNode, nodeRed, type Rig } from '../kit/node-red';

const TERMINAL = 'hollin-bank/F3/S118/2';
let count = 0;
const reading = (over: object = {}) => ({
  terminal: TERMINAL,
  takenAt: new Date(Date.UTC(2026, 4, 4) + count++ * 1000).toISOString(),
  angleDeg: -118.4,
  against: 'utc',
  ...over,
});

describe('readings in, in Node-RED with Mosquitto', function () {
  this.timeout(30_000);
  let broker: Broker;
  let rig: Rig;
  let publisher: MqttClient;
  let run = 0;

  before(async () => {
    broker = await mosquitto();
    rig = await nodeRed();
    publisher = await connectAsync(broker.url);
  });
  after(async () => {
    await rig.deploy([]);
    publisher.end(true);
    await broker.stop();
  });
  beforeEach(() => {
    run++;
  });
  afterEach(() => rig.deploy([]));

  /** A flow with the node under test; a topic of its own for each test. */
  function flow(over: Record<string, unknown> = {}, brokerOver: Record<string, unknown> = {}): FlowNode[] {
    return [
      {
        id: 'broker',
        type: 'mqtt-broker',
        broker: '127.0.0.1',
        port: broker.port,
        protocolVersion: '5',
        keepalive: 60,
        ...brokerOver,
      },
      { id: 'ledger', type: 'phaseloom-ledger', file: `ledger-${run}.sqlite` },
      {
        id: 'in',
        type: 'phaseloom-readings-in',
        broker: 'broker',
        ledger: 'ledger',
        topics: [`run${run}/#`],
        settleS: 1,
        wires: [['good'], ['bad']],
        ...over,
      },
      rig.probe('good'),
      rig.probe('bad'),
    ];
  }
  const publish = (value: unknown, over: object = {}, topic = `run${run}/P-07`) =>
    publisher.publishAsync(topic, typeof value === 'string' || Buffer.isBuffer(value) ? value : JSON.stringify(value), {
      qos: 1,
      ...over,
    });
  const connected = async () => {
    for (let i = 0; i < 400 && !rig.status('in')?.text?.startsWith('connected'); i++)
      await new Promise((r) => setTimeout(r, 25));
    expect(rig.status('in')).to.include({ fill: 'green', shape: 'dot' });
  };
  const counters = () => rig.node('in').counters() as Record<string, number>;
  const stored = async (): Promise<readonly StoredReading[]> =>
    (await rig.node('ledger').ready()).readingsAfter(0, 10_000);
  const acked = async (n: number) => {
    for (let i = 0; i < 400 && counters().acked! < n; i++) await new Promise((r) => setTimeout(r, 10));
    expect(counters().acked).to.equal(n);
  };

  for (const protocolVersion of ['4', '5']) {
    it(`stores, acknowledges and sends a reading (MQTT ${protocolVersion === '4' ? '3.1.1' : '5'})`, async () => {
      await rig.deploy(flow({}, { protocolVersion }));
      await connected();
      const sent = reading({ voltageV: 14_390 });
      await publish(sent);
      const msg = await rig.next('good');
      expect(msg.payload).to.include({ kind: 'reading', terminal: TERMINAL, voltageV: 14_390 });
      expect(msg.reading).to.deep.equal(msg.payload);
      expect(msg.topic).to.equal(`run${run}/P-07`);
      expect(msg.phaseloom).to.deep.equal({ seq: (await stored())[0]!.seq });
      await acked(1);
    });
  }
});
