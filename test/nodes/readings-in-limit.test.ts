import { expect } from 'chai';
import { connectAsync, type MqttClient } from 'mqtt';
import type { Rejection } from '../../lib/records';
import { type Broker, mosquitto } from '../kit/broker';
import { type FlowNode, nodeRed, type Rig } from '../kit/node-red';

const LIMIT = 5;
let run = 0;

describe('the limit of one publisher', function () {
  this.timeout(60_000);
  let rig: Rig;
  let broker: Broker;
  let publisher: MqttClient;
  before(async () => {
    rig = await nodeRed();
    broker = await mosquitto();
    publisher = await connectAsync(broker.url);
  });
  beforeEach(() => {
    run++;
  });
  afterEach(() => rig.deploy([]));
  after(async () => {
    publisher.end(true);
    await broker.stop();
  });

  const deploy = async (over: object) => {
    const broker1: FlowNode = {
      id: 'broker',
      type: 'mqtt-broker',
      broker: '127.0.0.1',
      port: broker.port,
      protocolVersion: '5',
    };
    await rig.deploy([
      broker1,
      { id: 'ledger', type: 'phaseloom-ledger', file: `limit-${run}.sqlite` },
      {
        id: 'in',
        type: 'phaseloom-readings-in',
        broker: 'broker',
        ledger: 'ledger',
        topics: [`limit${run}/#`],
        wires: [['good'], ['bad']],
        ...over,
      },
      rig.probe('good'),
      rig.probe('bad'),
    ]);
    for (let i = 0; i < 400 && !rig.status('in')?.text?.startsWith('connected'); i++) await pause();
  };
  const pause = () => new Promise((r) => setTimeout(r, 25));
  const made = (n: number, { minute = 15, instrument = 'P-1' } = {}) => ({
    terminal: `x/${n}`,
    takenAt: `2026-05-04T10:${minute}:${String(n % 60).padStart(2, '0')}Z`,
    angleDeg: n,
    against: 'utc',
    instrument: { id: instrument },
  });
  const publish = (topic: string, value: unknown) =>
    publisher.publishAsync(`limit${run}/${topic}`, JSON.stringify(value), { qos: 1 });
  const health = async () => (await rig.node('ledger').ready()).health();
  const numbers = Array.from({ length: 8 }, (_, n) => n);

  it('off unless set: all readings pass', async () => {
    await deploy({});
    await Promise.all(numbers.map((n) => publish('a', made(n))));
    await rig.until('good', numbers.length, 20_000);
    expect(rig.got('bad')).to.have.length(0);
  });

  it('by topic: what is over it is a rejection, stored with the whole message and acknowledged; other topics go on', async () => {
    await deploy({ perMinute: String(LIMIT) });
    for (const n of numbers) await publish('a', made(n));
    for (const n of numbers.slice(0, 3)) await publish('b', made(30 + n));
    await rig.until('bad', numbers.length - LIMIT, 20_000);
    await rig.until('good', LIMIT + 3, 20_000);
    const [first] = rig.got('bad').map((m) => m.payload as Rejection);
    expect(first!.problems[0]).to.deep.equal({
      at: '',
      code: 'rate-exceeded',
      what: `topic limit${run}/a: more than 5 readings taken in the minute of 2026-05-04T10:15:05.000000Z`,
      expected: 'at most 5 readings a minute from one topic',
    });
    expect(JSON.parse(first!.excerpt!)).to.deep.equal(made(5));
    for (let i = 0; i < 400 && rig.node('in').counters().acked < 11; i++) await pause();
    expect(rig.node('in').counters().acked).to.equal(11);
    expect(await health()).to.include({ readings: LIMIT + 3, rejections: numbers.length - LIMIT });
  });

  it('by instrument: in a batch those over it are named, the others are taken', async () => {
    await deploy({ perMinute: LIMIT, limitBy: 'instrument' });
    await publish('all', [...numbers.map((n) => made(n)), made(20, { instrument: 'P-2' })]);
    await rig.until('good', LIMIT + 1, 20_000);
    await rig.until('bad', 1, 20_000);
    const { problems } = rig.got('bad')[0]!.payload as Rejection;
    expect(problems.map((p) => p.at)).to.deep.equal(['/5', '/6', '/7']);
    expect(problems[0]!.what).to.match(/^instrument P-1: more than 5 readings/);
  });

  it('a reading that is delivered again counts once, and is not turned aside', async () => {
    await deploy({ perMinute: String(LIMIT) });
    for (const n of [0, 1, 2, 0, 1, 2, 0, 3, 4, 1]) await publish('a', made(n));
    for (let i = 0; i < 400 && rig.node('in').counters().acked < 10; i++) await pause();
    expect(rig.node('in').counters()).to.include({ acked: 10, stored: 5, duplicates: 5, rejected: 0 });
    await publish('a', made(5));
    const [over] = await rig.until('bad', 1, 20_000);
    expect(over!.payload.problems[0].code).to.equal('rate-exceeded');
  });

  it('what was taken over several minutes passes though it comes all at once, as after an outage', async () => {
    await deploy({ perMinute: LIMIT });
    await Promise.all(
      [15, 16, 17].flatMap((minute) => numbers.slice(0, LIMIT).map((n) => publish('a', made(n, { minute })))),
    );
    await rig.until('good', 3 * LIMIT, 20_000);
    expect(rig.got('bad')).to.have.length(0);
  });
});
