import { createSocket } from 'node:dgram';
import { once } from 'node:events';
import { expect } from 'chai';
import fc from 'fast-check';
import { fitness, makeFrame, problemsOf } from '../../lib';
import { encodeConfigParts, encodeFrame } from '../../lib/synchrophasor';
import { nodeRed, type Rig } from '../kit/node-red';
import { longConfig, Pmu, pmuConfig, pmuData } from '../kit/pmu';

describe('the node synchrophasor in', function () {
  this.timeout(20_000);
  let rig: Rig;
  let pmu: Pmu;
  before(async () => {
    rig = await nodeRed();
  });
  beforeEach(async () => {
    pmu = await new Pmu().start();
  });
  afterEach(async () => {
    await rig.deploy([]);
    pmu.stop();
  });

  const channels = [
    { pmu: '7', channel: 'VA', terminal: 's/1', voltageIs: 'phase-to-earth' },
    { pmu: 'Hollin bank', channel: 'VB', terminal: 's/2' },
  ];
  const deploy = (over: object) =>
    rig.deploy([
      {
        id: 'n',
        type: 'phaseloom-synchrophasor-in',
        host: '127.0.0.1',
        idCode: 7,
        channels,
        timeSource: 'gnss',
        everyS: 0,
        ...over,
        wires: [['readings'], ['rejected'], ['config']],
      },
      rig.probe('readings'),
      rig.probe('rejected'),
      rig.probe('config'),
    ]);
  const tcp = async (over: object = {}) => {
    await deploy({ transport: 'tcp', port: pmu.tcpPort, ...over });
    await pmu.commanded('data-on');
  };
  const shown = async (text: string) => {
    const deadline = Date.now() + 5000;
    while (rig.status('n')?.text !== text && Date.now() < deadline) await new Promise((r) => setTimeout(r, 20));
    expect(rig.status('n')?.text).to.equal(text);
  };

  it('asks for the configuration, starts the data and sends readings fit for an absolute phase (TCP)', async () => {
    await tcp();
    expect(pmu.commands.slice(0, 3)).to.deep.equal([1, 5, 2]);
    expect((await rig.next('config')).payload.pmus[0].station).to.equal('Hollin bank');
    pmu.send(pmu.data());
    const [a, b] = (await rig.until('readings', 2)).map((m) => m.payload);
    expect(problemsOf('reading', a)).to.deep.equal([]);
    expect([a.terminal, a.angleDeg, a.voltageV, a.voltageIs]).to.deep.equal(['s/1', 0, 7200, 'phase-to-earth']);
    expect(b.angleDeg).to.be.closeTo(-120, 1e-4);
    expect(a.clock).to.deep.equal({ source: 'gnss', errorUs: 1, locked: true });
    expect(fitness(a, { frame: makeFrame() }).uses.absolutePhase).to.equal(true);
    await shown('readings: 2');
  });

  it('lets frames pass as often as it is told to', async () => {
    await tcp({ everyS: 1 });
    const from = Date.now() * 1000 - 4e6;
    for (let i = 0; i < 90; i++) pmu.send(pmu.data(from + Math.round((i * 1e6) / 30)));
    await rig.until('readings', 6);
    pmu.send(pmu.data(from + 3e6));
    await rig.until('readings', 8);
    expect(rig.got('readings')).to.have.length(8);
  });

  it('takes commands by its input and refuses what is none', async () => {
    await tcp();
    rig.send('n', { payload: 'send-header' });
    await rig.until('config', 2);
    expect(rig.got('config')[1]!.payload).to.deep.equal({ header: 'A test PMU' });
    rig.send('n', { payload: 'stop' });
    const deadline = Date.now() + 2000;
    while (rig.errors.length === 0 && Date.now() < deadline) await new Promise((r) => setTimeout(r, 10));
    expect(rig.errors[0]!.code).to.equal('command-unknown');
  });

  it('rejects what cannot be used, each with its reason, and goes on', async () => {
    await tcp();
    const broken = Uint8Array.from(pmu.data());
    broken[20]! ^= 0xff;
    pmu.send(Uint8Array.from([...broken, ...pmu.data()]));
    await rig.until('readings', 2);
    pmu.send(pmu.data(undefined, 0x8000));
    const rejected = (await rig.until('rejected', 3)).map((m) => m.payload);
    expect(rejected.map((r) => [r.terminal, r.problems[0].code])).to.deep.equal([
      [null, 'bytes-between-frames'],
      ['s/1', 'values-not-usable'],
      ['s/2', 'values-not-usable'],
    ]);
    for (const r of rejected) expect(problemsOf('rejection', r)).to.deep.equal([]);
  });

  it('gives no reading of a channel that reads 0 V, and holds little voltage against the others', async () => {
    await tcp();
    const data = pmuData(pmu.config, Date.now() * 1000);
    const [unit] = data.pmus;
    pmu.send(encodeFrame({ ...data, pmus: [{ ...unit!, phasors: [0, 0, 50, 1, 0, 0, 0, 0] }] }, pmu.config));
    const [rejected] = await rig.until('rejected', 1);
    expect([rejected!.payload.terminal, rejected!.payload.problems[0].code]).to.deep.equal(['s/1', 'magnitude-zero']);
    const { payload } = await rig.next('readings');
    expect([payload.terminal, payload.coupling]).to.deep.equal(['s/2', 'contact']);
    const fit = fitness(payload, { frame: makeFrame(), terminal: { id: 's/2', nominalV: 12_470 } });
    expect(fit.uses).to.deep.equal({ absolutePhase: false, relative: false, magnitude: true });
    expect(fit.reasons.map((r) => r.code)).to.include('no-voltage-read');
  });

  it('follows a configuration that changes, told by STAT or seen by the length of the data', async () => {
    await tcp();
    pmu.send(pmu.data());
    await rig.until('readings', 2);
    const before = pmu.config;
    pmu.config = pmuConfig(7, ['VX', 'VB', 'VA']);
    pmu.send(encodeFrame(pmuData(before, Date.now() * 1000, 0x0480), before));
    await pmu.commanded('send-config-2', 2);
    await rig.until('config', 2);
    // The bit clears: the change is in force, and what was answered before may be the old one.
    pmu.answers = false;
    pmu.send(pmu.data());
    expect((await rig.until('rejected', 1))[0]!.payload.problems[0].code).to.equal('configuration-changed');
    expect(rig.got('readings')).to.have.length(4);
    await pmu.commanded('send-config-2', 3);
    pmu.answers = true;
    pmu.send(encodeFrame(pmu.config));
    await rig.until('config', 3);
    pmu.send(pmu.data());
    const after = (await rig.until('readings', 6)).slice(4).map((m) => m.payload);
    expect(after.map((r) => [r.terminal, r.voltageV])).to.deep.equal([
      ['s/1', 7202],
      ['s/2', 7201],
    ]);
    pmu.config = pmuConfig(7, ['VA', 'VB']);
    pmu.send(pmu.data());
    await pmu.commanded('send-config-2', 4);
    expect((await rig.until('rejected', 2))[1]!.payload.problems[0].code).to.equal('data-not-of-configuration');
    await rig.until('config', 4);
    pmu.send(pmu.data());
    await rig.until('readings', 8);
  });

  it('connects again when the line is cut, and when nothing comes', async () => {
    await tcp({ silenceS: 0.5 });
    pmu.cut();
    await pmu.commanded('data-on', 2);
    pmu.send(pmu.data());
    await rig.until('readings', 2);
    await pmu.commanded('data-on', 3);
    expect(rig.node('n').counters().connects).to.equal(3);
  });

  it('says so when a channel of the table is not in the configuration', async () => {
    await tcp({ channels: [...channels, { pmu: '7', channel: 'VN', terminal: 's/n' }] });
    await shown('1 not found');
    pmu.send(pmu.data());
    await rig.until('readings', 2);
  });

  it('asks for the other kind of configuration when the first does not come', async () => {
    await tcp({ configuration: 'config-3' });
    expect(pmu.commands.slice(0, 4)).to.deep.equal([1, 6, 5, 2]);
    pmu.send(pmu.data());
    await rig.until('readings', 2);
  });

  it('puts a CFG-3 in parts together, by TCP and UDP, and follows its change', async () => {
    for (const over of [
      { transport: 'tcp', port: pmu.tcpPort },
      { transport: 'udp', port: pmu.udpPort },
    ]) {
      pmu.long = { config: longConfig(pmu.config), mostBytes: 60 };
      await rig.deploy([]);
      pmu.commands.length = 0;
      await deploy({ ...over, configuration: 'config-3' });
      await pmu.commanded('data-on');
      expect(pmu.commands.filter((c) => c !== 1)).to.deep.equal([6, 2]);
      const send = (bytes: Uint8Array) => (over.transport === 'tcp' ? pmu.send(bytes) : pmu.sendUdp(bytes));
      send(pmu.data());
      await rig.until('readings', 2);
      pmu.long = { config: longConfig(pmuConfig(7, ['VX', 'VB', 'VA', 'IA'])), mostBytes: 60 };
      send(pmu.data(undefined, 0x0480));
      await rig.until('config', 2);
      send(pmu.data());
      await rig.until('config', 3);
      send(pmu.data());
      const last = (await rig.until('readings', 6)).slice(4).map((m) => m.payload);
      expect(last.map((r) => [r.terminal, r.voltageV])).to.deep.equal([
        ['s/1', 7202],
        ['s/2', 7201],
      ]);
    }
  });

  it('refuses parts of a configuration that are out of order, and asks for it anew', async () => {
    await tcp();
    const [first, , third] = encodeConfigParts(longConfig(pmu.config), 60);
    pmu.send(first!);
    pmu.send(third!);
    const { problems } = (await rig.next('rejected')).payload;
    expect(problems[0]).to.include({ code: 'config-parts-disordered', expected: 'part 2, or the last one' });
    await pmu.commanded('send-config-2', 2);
    pmu.send(pmu.data());
    await rig.until('readings', 2);
  });

  it('keeps to its own stream', async () => {
    await tcp();
    pmu.send(encodeFrame(pmuConfig(8)));
    expect((await rig.until('rejected', 1))[0]!.payload.problems[0].code).to.equal('stream-unknown');
    pmu.send(pmu.data());
    await rig.until('readings', 2);
    expect(rig.got('config')).to.have.length.within(1, 2);
  });

  it('gives readings that the front door stores', async () => {
    await rig.deploy([
      { id: 'ledger', type: 'phaseloom-ledger', file: ':memory:' },
      {
        id: 'n',
        type: 'phaseloom-synchrophasor-in',
        host: '127.0.0.1',
        port: pmu.tcpPort,
        idCode: 7,
        channels,
        wires: [['door'], [], []],
      },
      { id: 'door', type: 'phaseloom-readings-in', ledger: 'ledger', wires: [['readings'], []] },
      rig.probe('readings'),
    ]);
    await pmu.commanded('data-on');
    pmu.send(pmu.data());
    const [first] = await rig.until('readings', 2);
    expect(first!.phaseloom.seq).to.be.a('number');
    expect(first!.topic).to.equal(`synchrophasor 7 tcp://127.0.0.1:${pmu.tcpPort}`);
  });

  it('goes on after noise of every kind on the line', async () => {
    await tcp();
    const noise = fc.sample(fc.uint8Array({ minLength: 1, maxLength: 600 }), { seed: 47, numRuns: 300 });
    for (const bytes of noise) pmu.send(bytes);
    // A frame that the noise seems to begin ends within 65 535 bytes: after that the line is clear again.
    const frame = pmu.data();
    for (let sent = 0; sent < 70_000; sent += frame.length) pmu.send(frame);
    await rig.until('readings', 2, 10_000);
    expect((await rig.until('rejected', 1))[0]!.payload.problems[0].code).to.equal('bytes-between-frames');
  });

  it('stops the data when it is closed', async () => {
    await tcp();
    await rig.deploy([]);
    await pmu.commanded('data-off', 2);
  });

  it('works by UDP', async () => {
    await deploy({ transport: 'udp', port: pmu.udpPort });
    await pmu.commanded('data-on');
    pmu.sendUdp(pmu.data());
    await rig.until('readings', 2);
  });

  it('says so when the host of UDP does not resolve, and tries again', async () => {
    await deploy({ transport: 'udp', host: 'no-such-host.invalid', port: 4713 });
    await shown('disconnected');
    await shown('connecting');
    await shown('disconnected');
  });

  it('listens by UDP without a host, to what is sent unasked', async () => {
    const localPort = await freePort();
    await deploy({ transport: 'udp', host: '', localPort });
    await shown('no configuration');
    pmu.sendUdp(encodeFrame(pmu.config), localPort);
    await rig.until('config', 1);
    pmu.sendUdp(pmu.data(), localPort);
    await rig.until('readings', 2);
    expect(pmu.commands).to.deep.equal([]);
  });

  it('takes data by UDP that are commanded by TCP', async () => {
    const localPort = await freePort();
    await deploy({ transport: 'tcp-udp', port: pmu.tcpPort, localPort });
    await pmu.commanded('data-on');
    pmu.sendUdp(pmu.data(), localPort);
    await rig.until('readings', 2);
  });

  it('gives each PMU of a concentrator its turn, though the slower one has values in some frames only', async () => {
    const [fast] = pmu.config.pmus;
    pmu.config = { ...pmu.config, pmus: [fast!, { ...fast!, idCode: 8, station: 'Far end' }] };
    await tcp({ everyS: 1, channels: [channels[0], { pmu: '8', channel: 'VA', terminal: 'far/1' }] });
    const from = Math.floor(Date.now() / 1000 - 5) * 1e6;
    for (let k = 0; k < 90; k++) {
      const frame = pmuData(pmu.config, from + Math.round((k * 1e6) / 30));
      // Every tenth frame, never one on the second.
      const far = { ...frame.pmus[1]!, stat: k % 10 === 5 ? 0x0080 : 0x8000 };
      pmu.send(encodeFrame({ ...frame, pmus: [frame.pmus[0]!, far] }, pmu.config));
    }
    const got = (await rig.until('readings', 6)).map((m) => m.payload.terminal);
    expect(got.filter((t) => t === 'far/1')).to.have.length(3);
    expect((await rig.until('rejected', 1))[0]!.payload.problems[0].code).to.equal('values-not-usable');
  });

  it('keeps the streams of several PMUs apart, each at its own rate', async () => {
    const other = await new Pmu().start();
    other.config = { ...pmuConfig(9), dataRate: 10 };
    try {
      const node = (id: string, p: Pmu, idCode: number, terminal: string) => ({
        id,
        type: 'phaseloom-synchrophasor-in',
        transport: 'tcp',
        host: '127.0.0.1',
        port: p.tcpPort,
        idCode,
        channels: [{ pmu: String(idCode), channel: 'VA', terminal }],
        everyS: 0,
        wires: [['readings'], ['rejected'], []],
      });
      await rig.deploy([
        node('n', pmu, 7, 'a/1'),
        node('m', other, 9, 'b/1'),
        rig.probe('readings'),
        rig.probe('rejected'),
      ]);
      await Promise.all([pmu.commanded('data-on'), other.commanded('data-on')]);
      const from = Date.now() * 1000 - 1e6;
      for (let k = 0; k < 60; k++) {
        pmu.send(pmu.data(from + Math.round((k * 1e6) / 60)));
        if (k % 6 === 0) other.send(other.data(from + Math.round((k * 1e6) / 60)));
      }
      const got = (await rig.until('readings', 70)).map((m) => m.payload.terminal);
      expect([got.filter((t) => t === 'a/1').length, got.filter((t) => t === 'b/1').length]).to.deep.equal([60, 10]);
      expect(rig.got('rejected')).to.deep.equal([]);
    } finally {
      other.stop();
    }
  });

  it('takes datagrams out of order and twice, and a source that restarts with an earlier time', async () => {
    await deploy({ transport: 'udp', port: pmu.udpPort, everyS: 1 });
    await pmu.commanded('data-on');
    const from = Math.floor(Date.now() / 1000 - 5) * 1e6;
    for (const s of [0, 0.5, 1, 0.9, 0.1, 1, 2, 1.9]) pmu.sendUdp(pmu.data(from + s * 1e6));
    await rig.until('readings', 6);
    pmu.sendUdp(pmu.data(from - 3600e6));
    pmu.sendUdp(pmu.data(from - 3600e6 + 0.5e6));
    const got = (await rig.until('readings', 8)).filter((m) => m.payload.terminal === 's/1');
    const seconds = got.map((m) => (Date.parse(m.payload.takenAt) * 1000 - from) / 1e6);
    expect(seconds).to.deep.equal([0, 1, 2, -3600]);
  });

  it('shows why a frame was refused until one is read again', async () => {
    await tcp();
    pmu.send(pmu.data(undefined, 0x8000));
    await shown('refused: not usable');
    pmu.send(pmu.data());
    await shown('readings: 2');
  });

  it('says what is wrong with its settings', async () => {
    for (const over of [
      { host: '' },
      { channels: [] },
      { transport: 'tcp-udp' },
      { channels: [{ pmu: '7' }] },
      { idCode: 0 },
    ]) {
      await deploy({ transport: 'tcp', port: pmu.tcpPort, ...over });
      await shown('check the settings');
    }
  });
});

async function freePort(): Promise<number> {
  const socket = createSocket('udp4');
  socket.bind(0, '127.0.0.1');
  await once(socket, 'listening');
  const { port } = socket.address();
  await new Promise<void>((r) => socket.close(() => r()));
  return port;
}
