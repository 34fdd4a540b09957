import { expect } from 'chai';
import { connectAsync } from 'mqtt';
import { loadProm, metricName } from '../../nodes/metrics/metrics-page';
import { addRoutes } from '../../nodes/metrics/routes';
import { type Broker, mosquitto } from '../kit/broker';
import { at, feeder13Config, readAt } from '../kit/feeder13';
import { type FlowNode, nodeRed, type Rig } from '../kit/node-red';
import { type Webhook, webhook } from '../kit/webhook';

/**
 * A reader of its own for the text format, by "Exposition formats", prometheus.io/docs/instrumenting/exposition_formats: HELP and TYPE
 * lines, then samples `name{label="value",...} number`. Throws at a line that is none of these, or a sample before its TYPE.
 */
function read(page: string): Map<string, number> {
  const samples = new Map<string, number>();
  const types = new Set<string>();
  expect(page.endsWith('\n'), 'the last line ends with a line feed').to.equal(true);
  for (const line of page.split('\n').filter((l) => l !== '')) {
    const type = /^# TYPE ([a-zA-Z_:][a-zA-Z0-9_:]*) (counter|gauge|histogram|summary|untyped)$/.exec(line);
    if (type) types.add(type[1]!);
    else if (!/^# HELP [a-zA-Z_:][a-zA-Z0-9_:]* /.test(line)) {
      const sample =
        /^([a-zA-Z_:][a-zA-Z0-9_:]*)\{((?:[a-zA-Z_]\w*="(?:[^"\\\n]|\\["\\n])*",?)+)\} (-?\d+(?:\.\d+)?(?:e[+-]?\d+)?)$/.exec(
          line,
        );
      if (!sample || !types.has(sample[1]!)) throw new Error(`not the text format: ${line}`);
      const node = /node="([^"]*)"/.exec(sample[2]!)![1];
      samples.set(`${sample[1]} ${node}`, Number(sample[3]));
    }
  }
  return samples;
}

describe('seen from outside: metrics, health, readiness', function () {
  this.timeout(20_000);
  let rig: Rig;
  let broker: Broker;
  let hook: Webhook;
  before(async () => {
    rig = await nodeRed();
    broker = await mosquitto();
    hook = await webhook();
  });
  after(async () => {
    await rig.deploy([]);
    await hook.close();
    await broker.stop();
  });

  const get = (path: string) => fetch(`http://127.0.0.1:${rig.port}/red/phaseloom/${path}`);
  const flow = (): FlowNode[] => [
    ...(feeder13Config() as unknown as FlowNode[]),
    {
      id: 'broker',
      type: 'mqtt-broker',
      broker: '127.0.0.1',
      port: String(broker.port),
      protocolVersion: '5',
      keepalive: '60',
    },
    { id: 'ledger', type: 'phaseloom-ledger', name: 'the "ledger"', file: 'metrics.sqlite', durability: 'normal' },
    {
      id: 'in',
      type: 'phaseloom-readings-in',
      broker: 'broker',
      ledger: 'ledger',
      topics: ['m/#'],
      wires: [['screen'], []],
    },
    {
      id: 'screen',
      type: 'phaseloom-screen',
      frame: 'frame',
      network: 'network',
      ledger: 'ledger',
      wires: [['fit'], []],
    },
    {
      id: 'off',
      type: 'phaseloom-handoff',
      ledger: 'ledger',
      way: 'http',
      url: hook.url,
      longestPauseS: '1',
      wires: [[], []],
    },
    { id: 'metrics', type: 'phaseloom-metrics', wires: [['page']] },
    rig.probe('fit'),
    rig.probe('page'),
  ];
  const untilReady = async (code: number) => {
    for (let i = 0; i < 100 && (await get('ready')).status !== code; i++) await new Promise((r) => setTimeout(r, 100));
    return get('ready');
  };

  it('counts what was published, a gap in the count of an instrument, and a duplicate', async () => {
    await rig.deploy(flow());
    expect((await untilReady(200)).status).to.equal(200);
    const client = await connectAsync(broker.url, { protocolVersion: 5 });
    const read3 = [1, 2, 6].map((sequence, i) =>
      readAt('671/1', { atUs: at(i), over: { instrument: { id: 'P-1', selfTest: 'pass', sequence } } }),
    );
    for (const { id: _id, ...reading } of [...read3, read3[0]!]) {
      await client.publishAsync('m/P-1', JSON.stringify(reading), { qos: 1 });
    }
    await client.publishAsync('m/P-1', 'not JSON', { qos: 1 });
    await client.endAsync();
    await rig.until('fit', 3);
    await new Promise((r) => setTimeout(r, 300));
    const response = await get('metrics');
    expect(response.headers.get('content-type')).to.match(/^text\/plain;.*version=0\.0\.4/);
    const samples = read(await response.text());
    const value = (name: string) => samples.get(name);
    expect(value('phaseloom_readings_in_received_total in')).to.equal(5);
    expect(value('phaseloom_readings_in_stored_total in')).to.equal(3);
    expect(value('phaseloom_readings_in_duplicates_total in')).to.equal(1);
    expect(value('phaseloom_readings_in_rejected_total in')).to.equal(1);
    expect(value('phaseloom_readings_in_acked_total in')).to.equal(5);
    expect(value('phaseloom_readings_in_up in')).to.equal(1);
    expect(value('phaseloom_screen_sequence_gaps_total screen')).to.equal(1);
    expect(value('phaseloom_screen_passed_total screen')).to.equal(3);
    expect(value('phaseloom_ledger_readings ledger')).to.equal(3);
    expect(value('phaseloom_ledger_up ledger')).to.equal(1);
  });

  it('says which node is in trouble and is not ready while the outside system answers 500; ready again after', async () => {
    hook.reply = () => ({ status: 500 });
    rig.send('off', { payload: readAt('671/1', { atUs: at(9) }) });
    const response = await untilReady(503);
    expect(response.status).to.equal(503);
    const told = (await response.json()) as { ready: boolean; nodes: { id: string; trouble: string | null }[] };
    expect(told.nodes.filter((n) => n.trouble !== null)).to.deep.include.members([
      { id: 'off', type: 'phaseloom-handoff', name: '', trouble: 'answered 500' },
    ]);
    expect((await get('health')).status, 'it is alive all the same').to.equal(200);
    const samples = read(await (await get('metrics')).text());
    expect(samples.get('phaseloom_handoff_retried_total off')).to.be.at.least(1);
    expect(samples.get('phaseloom_ledger_deliveries_waiting ledger')).to.equal(1);
    hook.reply = () => ({ status: 204 });
    expect((await untilReady(200)).status).to.equal(200);
    expect(read(await (await get('metrics')).text()).get('phaseloom_handoff_accepted_total off')).to.equal(1);
  });

  it('is not ready while the broker is away', async () => {
    await broker.halt();
    const response = await untilReady(503);
    const told = (await response.json()) as { nodes: { id: string; trouble: string | null }[] };
    expect(told.nodes.find((n) => n.id === 'in')!.trouble).to.match(/^not connected to the broker/);
    await broker.start();
    expect((await untilReady(200)).status).to.equal(200);
  });

  it('gives the same page as a message, for a flow of http in and http response', async () => {
    rig.send('metrics', { payload: 'anything' });
    const msg = await rig.next('page');
    expect(msg.headers['content-type']).to.match(/^text\/plain/);
    expect(read(msg.payload).get('phaseloom_screen_passed_total screen')).to.equal(3);
    expect(msg.health.ready).to.equal(true);
  });

  it('tells nothing of nodes that are gone', async () => {
    await rig.deploy([]);
    expect(await (await get('metrics')).text()).to.not.contain('phaseloom_readings_in');
  });

  it('every route asks Node-RED whether the caller may read', () => {
    const guard = () => undefined;
    const asked: string[] = [];
    const routes: [string, unknown][] = [];
    addRoutes({
      auth: {
        needsPermission: (permission: string) => {
          asked.push(permission);
          return guard;
        },
      },
      httpAdmin: { get: (path: string, first: unknown) => routes.push([path, first]) },
    } as never);
    expect(new Set(asked)).to.deep.equal(new Set(['phaseloom-metrics.read']));
    expect(routes.map(([path]) => path)).to.have.length(3);
    expect(routes.every(([, first]) => first === guard)).to.equal(true);
  });

  it('says what to install when prom-client is missing', () => {
    const missing = () => {
      throw new Error('Cannot find module');
    };
    expect(() => loadProm(missing)).to.throw(/npm install prom-client/);
  });

  it('names metrics as Prometheus has them', () => {
    expect(metricName('phaseloom-readings-in', 'sessionsLost', 'Counter')).to.equal(
      'phaseloom_readings_in_sessions_lost_total',
    );
  });
});
