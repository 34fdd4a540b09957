import { join } from 'node:path';
import { DatabaseSync } from 'node:sqlite';
import { expect } from 'chai';
import { connectAsync, type MqttClient } from 'mqtt';
import { problemsOf } from '../../lib/validate';
import type { StoredReading } from '../../nodes/ledger/ledger';
import { type Broker, mosquitto, wireTo } from '../kit/broker';
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

const pause = (ms: number) => new Promise((r) => setTimeout(r, ms));
async function until(holds: () => boolean | Promise<boolean>, withinMs = 30_000): Promise<void> {
  const deadline = Date.now() + withinMs;
  while (!(await holds())) {
    if (Date.now() > deadline) throw new Error(`not within ${withinMs} ms: ${holds}`);
    await pause(10);
  }
}

describe('readings in, in Node-RED with Mosquitto', function () {
  this.timeout(120_000);
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
        clientId: `in-${run}`,
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
    for (let i = 0; i < 2000 && !rig.status('in')?.text?.startsWith('connected'); i++)
      await new Promise((r) => setTimeout(r, 25));
    expect(rig.status('in')).to.include({ fill: 'green', shape: 'dot' });
  };
  const counters = () => rig.node('in').counters() as Record<string, number>;
  const stored = async (): Promise<readonly StoredReading[]> =>
    (await rig.node('ledger').ready()).readingsAfter(0, 10_000);
  const acked = async (n: number) => {
    for (let i = 0; i < 2000 && counters().acked! < n; i++) await new Promise((r) => setTimeout(r, 10));
    expect(counters().acked).to.equal(n);
  };

  for (const protocolVersion of ['4', '5']) {
    it(`stores, acknowledges and sends a reading (MQTT ${protocolVersion === '4' ? '3.1.1' : '5'})`, async () => {
      await rig.deploy(flow({ clientId: '' }, { protocolVersion }));
      await connected();
      const sent = reading({ voltageV: 14_390 });
      await publish(sent);
      const msg = await rig.next('good', 30_000);
      expect(msg.payload).to.include({ kind: 'reading', terminal: TERMINAL, voltageV: 14_390 });
      expect(msg.reading).to.deep.equal(msg.payload);
      expect(msg.topic).to.equal(`run${run}/P-07`);
      expect(msg.phaseloom).to.deep.equal({ seq: (await stored())[0]!.seq });
      await acked(1);
      // a client id every broker must take: 1 to 23 letters and digits (MQTT 3.1.1 section 3.1.3.1)
      expect(broker.log()).to.match(/as phaseloom[0-9a-f]{14} /);
    });
  }

  /** Holds the ledger's file as another program would; gives the way to let go. */
  const lockLedger = (): (() => void) => {
    const other = new DatabaseSync(join(rig.userDir, `ledger-${run}.sqlite`));
    other.exec('begin immediate');
    return () => other.close();
  };

  it('sends no PUBACK before the commit, and then all of them in order', async () => {
    const wire = await wireTo(broker.port);
    await rig.deploy(flow({}, { port: wire.port }));
    await connected();
    const release = lockLedger();
    await Promise.all(Array.from({ length: 50 }, () => publish(reading())));
    await pause(500);
    expect(counters()).to.include({ received: 50, acked: 0, stored: 0 });
    expect(wire.acks).to.deep.equal([]);
    release();
    await rig.until('good', 50, 30_000);
    await acked(50);
    expect(wire.acks).to.deep.equal([...wire.acks].sort((a, b) => a - b));
    expect((await stored()).map((s) => s.seq)).to.deep.equal(rig.got('good').map((m) => m.phaseloom.seq));
    await wire.stop();
  });

  it('shows that the ledger is away, takes no more than twice the window, and catches up by itself', async () => {
    await rig.deploy(flow({ window: 20, batchSize: 10 }));
    await connected();
    const release = lockLedger();
    await Promise.all(Array.from({ length: 200 }, () => publish(reading())));
    await until(() => rig.status('in')?.text?.startsWith('ledger away') === true);
    expect(rig.status('in')).to.include({ fill: 'red', shape: 'ring' });
    expect(counters().mostPending).to.be.at.most(40);
    release();
    await rig.until('good', 200, 15_000);
    // A broker may deliver some again after so long a pause; each is acknowledged, none stored twice.
    await until(() => counters().acked! >= 200);
    expect(await stored()).to.have.length(200);
    await connected();
  });

  it('answers every kind of bad message with a rejection, acknowledges it, and goes on', async () => {
    await rig.deploy(flow());
    await connected();
    const bad = [
      'no JSON',
      '',
      Buffer.from([0xff, 0xfe, 0x7b, 0x00]),
      Buffer.alloc(10_000_000, 120),
      JSON.stringify(reading()).replace('-118.4', '1e400'),
      JSON.stringify(reading()).replace('{', '{"__proto__":{"polluted":true},'),
      `${'['.repeat(20_000)}${']'.repeat(20_000)}`,
      `[${Array(20_000).fill(1)}]`,
      reading({ takenAt: '2999-01-01T00:00:00Z' }),
      reading({ angleDeg: 1e9 }),
      reading({ terminal: `x${'/y'.repeat(200)}` }),
      reading({ terminal: 'nul\0here' }),
    ];
    for (const value of bad) {
      await publish(value);
      await publish(reading());
    }
    await rig.until('good', bad.length, 30_000);
    const rejections = (await rig.until('bad', bad.length, 30_000)).map((m) => m.payload);
    for (const rejection of rejections) expect(problemsOf('rejection', rejection)).to.deep.equal([]);
    expect(new Set(rejections.map((r) => r.id)).size).to.equal(bad.length);
    await acked(2 * bad.length);
    expect(rig.errors).to.deep.equal([]);
    const page = await (await rig.node('ledger').ready()).records({ kinds: ['rejection'] });
    expect(page.records.map((r: { id: string }) => r.id).sort()).to.deep.equal(rejections.map((r) => r.id).sort());
  });

  it('files what the ledger itself cannot store as a rejection, and stores everything around it', async () => {
    await rig.deploy(flow());
    await connected();
    await publish(reading());
    await rig.until('good', 1, 30_000);
    const other = new DatabaseSync(join(rig.userDir, `ledger-${run}.sqlite`));
    other.exec(
      "create trigger poison before insert on reading when new.terminal = 'poison' begin select raise(abort, 'not this one'); end",
    );
    other.close();
    await Promise.all(Array.from({ length: 21 }, (_, i) => publish(reading(i === 13 ? { terminal: 'poison' } : {}))));
    await rig.until('good', 21, 30_000);
    const [rejection] = await rig.until('bad', 1, 30_000);
    expect(rejection!.payload.problems[0].code).to.equal('ledger-refused');
    expect(rejection!.payload.problems[0].what).to.contain('not this one');
    expect(rejection!.payload.terminal).to.equal('poison');
    await acked(22);
    expect((await stored()).map((s) => s.seq)).to.deep.equal(rig.got('good').map((m) => m.phaseloom.seq));
  });

  it('sends a reading once, however often it is published, and takes QoS 0 and retained messages', async () => {
    const [once, light, kept] = [reading(), reading(), reading()];
    await publish(kept, { retain: true }, `run${run}/kept`);
    await rig.deploy(flow());
    await rig.until('good', 1, 30_000);
    expect(rig.got('good')[0]).to.include({ topic: `run${run}/kept`, retain: true });
    for (let i = 0; i < 3; i++) await publish(once);
    await publish(light, { qos: 0 });
    await rig.until('good', 3, 30_000);
    await until(() => counters().received === 5);
    await acked(4);
    expect(counters()).to.include({ received: 5, stored: 3, duplicates: 2, rejected: 0 });
    expect(rig.got('good').map((m) => m.payload.takenAt.slice(0, 19))).to.deep.equal(
      [kept, once, light].map((r) => r.takenAt.slice(0, 19)),
    );
    await publish('', { retain: true }, `run${run}/kept`);
  });

  it('passes over retained messages when told to', async () => {
    await publish(reading(), { retain: true }, `run${run}/kept`);
    await rig.deploy(flow({ retained: 'skip' }));
    await until(() => rig.node('in').counters().skipped === 1);
    await acked(1);
    expect(await stored()).to.deep.equal([]);
    await publish('', { retain: true }, `run${run}/kept`);
  });

  it('sends batches when told to', async () => {
    await rig.deploy(flow({ output: 'batches', lingerMs: 200 }));
    await connected();
    await Promise.all(Array.from({ length: 40 }, () => publish(reading())));
    await until(() => rig.got('good').flatMap((m) => m.payload).length === 40);
    const batches = rig.got('good');
    expect(batches.length).to.be.lessThan(40);
    expect(batches.flatMap((m) => m.payload)).to.have.length(40);
    expect(batches.flatMap((m) => m.phaseloom.seq)).to.deep.equal((await stored()).map((s) => s.seq));
    expect(batches[0]!.reading).to.deep.equal(batches[0]!.payload);
    expect(batches[0]!.topic).to.equal(`run${run}/P-07`);
  });

  describe('with a mapping', () => {
    const mapping = `payload.values.{
      'terminal': $split($topic, '/')[1] & '/' & cond, 'takenAt': $$.payload.t, 'angleDeg': a, 'against': 'utc'
    }`;
    it('makes readings of another shape, the topic at hand', async () => {
      await rig.deploy(flow({ mapping }));
      await connected();
      await publish(
        {
          t: '2026-05-04T10:15:30Z',
          values: [
            { cond: '1', a: 3.5 },
            { cond: '2', a: -116 },
          ],
        },
        {},
        `run${run}/S118`,
      );
      await publish({ t: '2026-05-04T10:15:31Z', values: [{ cond: '1', a: 4 }] }, {}, `run${run}/S119`);
      const got = (await rig.until('good', 3, 30_000)).map((m) => [m.payload.terminal, m.payload.angleDeg]);
      expect(got).to.deep.equal([
        ['S118/1', 3.5],
        ['S118/2', -116],
        ['S119/1', 4],
      ]);
    });

    it('rejects what the mapping makes nothing of, or something wrong, and passes over []', async () => {
      await rig.deploy(
        flow({ mapping: `payload.skip ? [] : payload.fail ? $error('no such instrument') : payload.r` }),
      );
      await connected();
      for (const value of [
        { nothing: 1 },
        { fail: true },
        { skip: true },
        { r: { terminal: 'a' } },
        'text',
        { r: reading() },
      ])
        await publish(value);
      await rig.until('good', 1, 30_000);
      const codes = (await rig.until('bad', 4, 30_000)).map((m) => m.payload.problems.at(-1).code);
      expect(codes).to.deep.equal(['mapping-empty', 'mapping-failed', 'schema-required', 'mapping-empty']);
      await acked(6);
    });

    it('gives up on a mapping that does not end, while everything else goes on', async () => {
      const mapping = `(
        $again := function($n) { $again($n + 1) };
        $deeper := function($n) { 1 + $deeper($n + 1) };
        $ask := $globalContext('ask');
        payload.do = 'wait' ? $ask(payload) : payload.do = 'loop' ? $again(0) : payload.do = 'deep' ? $deeper(0) : payload
      )`;
      const late = reading({ terminal: 'late/1' });
      await rig.deploy(flow({ mapping }));
      rig
        .node('in')
        .context()
        .global.set('ask', () => pause(8000).then(() => late));
      await connected();
      let turnMs = performance.now();
      let longestMs = 0;
      const watch = setInterval(() => {
        longestMs = Math.max(longestMs, performance.now() - turnMs);
        turnMs = performance.now();
      }, 10);
      const told: number[] = [];
      for (const value of [{ do: 'wait' }, { do: 'loop' }, { do: 'deep' }, reading()]) await publish(value);
      for (const n of [1, 2, 3]) {
        await rig.until('bad', n, 30_000);
        told.push(performance.now());
      }
      await rig.until('good', 1, 30_000);
      clearInterval(watch);
      const problems = rig.got('bad').map((m) => m.payload.problems[0]);
      expect(problems.map((p) => p.code)).to.deep.equal(Array(3).fill('mapping-endless'));
      expect(problems.map((p) => p.what)).to.deep.equal([
        'the mapping is given up: it has not ended after 5 s',
        'the mapping is given up: it has not ended after 5 s',
        'the mapping is given up: it goes more than 10000 parts deep',
      ]);
      expect(told[1]! - told[0]!, 'the first is told before the second is given up').to.be.at.least(3000);
      expect(longestMs, 'nothing else got its turn').to.be.below(2500);
      await acked(4);
      await pause(500);
      expect((await stored()).map(({ reading: r }) => r.terminal)).to.deep.equal([TERMINAL]);
    });

    it('does not start with an expression that cannot be compiled', async () => {
      await rig.deploy(flow({ mapping: 'payload.(' }));
      rig.send('in', { payload: reading() });
      await until(() => rig.errors.length > 0);
      expect(rig.status('in')).to.include({ fill: 'red', shape: 'ring' });
    });
  });

  describe('as a door for other messages', () => {
    it('is done with a message when it is stored, and keeps what else it carries', async () => {
      await rig.deploy(flow({ broker: '', topics: [] }));
      const release = await lockWhenOpen();
      rig.send('in', { payload: [reading(), { terminal: 'x' }, reading()], topic: 'by hand', job: 7 });
      await release();
      const got = await rig.until('good', 2, 30_000);
      expect(got.map((m) => [m.topic, m.job])).to.deep.equal([
        ['by hand', 7],
        ['by hand', 7],
      ]);
      const [bad] = await rig.until('bad', 1, 30_000);
      expect(bad!.payload.problems.map((p: { at: string }) => p.at)).to.include('/1/takenAt');
      expect(rig.errors).to.deep.equal([]);
      expect(await stored()).to.have.length(2);
    });

    it('tells a caller of enter() what became of it, after the commit', async () => {
      await rig.deploy(flow({ broker: '', topics: [] }));
      const one = reading();
      const outcome = await rig.node('in').enter(one, 'page');
      expect(outcome.readings[0]).to.include({ isNew: true });
      expect((await rig.node('in').enter(one)).readings[0]).to.include({ isNew: false, seq: outcome.readings[0].seq });
      expect((await rig.node('in').enter('rubbish')).rejection.problems[0].code).to.equal('json-invalid');
      const circular: Record<string, unknown> = {};
      circular.self = circular;
      expect(
        await rig
          .node('in')
          .enter(circular)
          .catch((e: { code: string }) => e.code),
      ).to.equal('payload-not-json');
    });

    /** Messages wait while the ledger is held. */
    async function lockWhenOpen(): Promise<() => Promise<void>> {
      await rig.node('ledger').ready();
      const release = lockLedger();
      return async () => {
        await pause(300);
        expect(rig.got('good')).to.deep.equal([]);
        release();
      };
    }
  });

  describe('over a restart', () => {
    it('sends again what had not had time to finish, and nothing else', async () => {
      await rig.deploy(flow());
      await connected();
      await publish(reading());
      await rig.until('good', 1, 30_000);
      await until(async () => (await (await rig.node('ledger').ready()).cursor('sent:in')) > 0);
      await publish(reading());
      await publish(reading());
      await rig.until('good', 3, 30_000);
      const unsettled = rig
        .got('good')
        .slice(1)
        .map((m) => m.payload.id);
      await rig.deploy(flow());
      const again = await rig.until('good', 2, 30_000);
      expect(again.map((m) => m.payload.id)).to.deep.equal(unsettled);
      expect(again[0]!.phaseloom).to.include({ resent: true });
      expect(again[0]!.topic).to.equal(`run${run}/P-07`);
      await until(async () => (await (await rig.node('ledger').ready()).cursor('sent:in')) >= again[1]!.phaseloom.seq);
      await rig.deploy(flow());
      await connected();
      await publish(reading());
      await rig.until('good', 1, 30_000);
      expect(rig.got('good')[0]!.phaseloom).not.to.have.property('resent');
      expect(rig.got('good')).to.have.length(1);
    });

    it('each reading belongs to one door: another one does not send it', async () => {
      const two = [
        ...flow({ settleS: 3600 }),
        { ...flow({ settleS: 3600 })[2]!, id: 'in2', clientId: `in2-${run}`, wires: [['good2'], []] },
        rig.probe('good2'),
      ];
      await rig.deploy(two);
      await connected();
      await until(() => rig.status('in2')?.text?.startsWith('connected') === true);
      for (let i = 0; i < 10; i++) await publish(reading());
      await until(() => rig.got('good').length + rig.got('good2').length === 10);
      const [first, second] = ['good', 'good2'].map((p) => rig.got(p).map((m) => m.payload.id));
      await rig.deploy(two);
      await until(() => rig.got('good').length + rig.got('good2').length === 10);
      expect(['good', 'good2'].map((p) => rig.got(p).map((m) => m.payload.id))).to.deep.equal([first, second]);
    });

    it('loses nothing over deployments under load, and leaves no listener behind', async () => {
      await rig.deploy(flow());
      await connected();
      const sockets = () => process.getActiveResourcesInfo().filter((name) => name === 'TCPSocketWrap').length;
      const listeners = () => sockets() + require('node-red').events.listenerCount('flows:started');
      const before = listeners();
      let published = 0;
      let isOver = false;
      const load = (async () => {
        while (!isOver) {
          await publish(reading());
          published++;
          await pause(2);
        }
      })();
      for (const type of ['full', 'nodes', 'flows', 'full'] as const) {
        await pause(150);
        await rig.deploy(type === 'full' ? flow() : flow({ name: `changed by ${type}` }), type);
      }
      await connected();
      isOver = true;
      await load;
      await until(async () => (await stored()).length === published, 10_000);
      expect(listeners()).to.equal(before);
    });
  });

  it('rejects a terminal that the chosen network does not know, and says which one is nearest', async () => {
    const document = JSON.stringify({ id: 'hollin', terminals: [{ id: TERMINAL }, { id: 'hollin-bank/F3/S118/1' }] });
    await rig.deploy([...flow({ network: 'net' }), { id: 'net', type: 'phaseloom-network', source: 'json', document }]);
    await connected();
    await publish(reading({ terminal: 'hollin-bank/F3/S118-2' }));
    await publish(reading());
    const [bad] = await rig.until('bad', 1, 30_000);
    expect(bad!.payload.problems[0]).to.include({ code: 'terminal-unknown', at: '/terminal' });
    expect(bad!.payload.problems[0].expected).to.contain(`did you mean "${TERMINAL}"?`);
    expect((await rig.until('good', 1, 30_000))[0]!.payload.terminal).to.equal(TERMINAL);
  });

  it('shows a configuration that cannot work and refuses each message with the reason', async () => {
    const cases: [Record<string, unknown>, string][] = [
      [{ ledger: '' }, 'no ledger is chosen'],
      [{ topics: ['a/#/b'] }, '# may only come last'],
      [{ topics: [] }, 'no topic filter'],
      [{ window: '70000' }, 'window is "70000"; it must be a whole number from 1 to 65535'],
      [{ broker: 'gone' }, 'the chosen MQTT broker does not exist'],
    ];
    for (const [over, why] of cases) {
      await rig.deploy(flow(over));
      rig.send('in', { payload: reading() });
      await until(() => rig.errors.length > 0);
      expect(rig.errors[0]!.message).to.contain(why);
      expect(rig.errors[0]!.code).to.equal('config');
      expect(rig.status('in')).to.deep.equal({ fill: 'red', shape: 'ring', text: 'configuration' });
    }
  });
});
