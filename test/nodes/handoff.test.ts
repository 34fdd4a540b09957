import { once } from 'node:events';
import { mkdirSync } from 'node:fs';
import { createServer, type Socket } from 'node:net';
import { join } from 'node:path';
import { expect } from 'chai';
import { HTTP } from 'cloudevents';
import mqtt from 'mqtt';
import { type AnyMsg, nodeRed, type Rig } from '../kit/node-red';
import { type Webhook, webhook } from '../kit/webhook';

let n = 0;
const flow = (rig: Rig, handoff: object, file = `handoff-${process.pid}-${n++}.sqlite`) => [
  { id: 'ledger', type: 'phaseloom-ledger', file },
  {
    id: 'h',
    type: 'phaseloom-handoff',
    ledger: 'ledger',
    destination: 'control room',
    way: 'http',
    timeoutS: '1',
    longestPauseS: '0.2',
    refusals: '2',
    ...handoff,
    wires: [['yes'], ['no']],
  },
  rig.probe('yes'),
  rig.probe('no'),
];
const rejection = (id: string, source = 'topic/a'): AnyMsg => ({
  kind: 'rejection',
  id,
  at: '2026-05-04T10:15:30.000000Z',
  from: [],
  source,
  terminal: null,
  stage: 'front-door',
  problems: [{ at: '', code: 'x', what: 'x', expected: 'y' }],
  bytes: 1,
  excerpt: '{',
});

describe('handoff', () => {
  let hook: Webhook;
  beforeEach(async () => {
    hook = await webhook();
  });
  afterEach(() => hook.close());

  it('posts a CloudEvent that the CloudEvents SDK reads, with the idempotency key', async () => {
    const rig = await nodeRed();
    await rig.deploy(flow(rig, { url: hook.url, source: 'urn:example:phasing' }));
    rig.send('h', { payload: rejection('rj-1') });
    const msg = await rig.next('yes');
    expect(msg.handoff).to.include({ destination: 'control room', key: 'rj-1', attempts: 1, status: '204' });
    const { headers, body } = hook.received[0]!;
    const event = HTTP.toEvent({ headers: headers as Record<string, string>, body }) as AnyMsg;
    expect(event.validate()).to.equal(true);
    expect([event.id, event.type, event.source, event.subject]).to.deep.equal([
      'rj-1',
      'org.phaseloom.rejection',
      'urn:example:phasing',
      'topic/a',
    ]);
    expect(event.data).to.deep.equal(rejection('rj-1'));
    expect(headers['idempotency-key']).to.equal('rj-1');
  });

  it('tries again after 500, no answer and 429, and delivers each record once', async () => {
    const rig = await nodeRed();
    hook.reply = (_r, count) =>
      count === 1
        ? { status: 500 }
        : count === 2
          ? 'never'
          : count === 3
            ? { status: 429, headers: { 'retry-after': '1' } }
            : { status: 200 };
    await rig.deploy(flow(rig, { url: hook.url }));
    const began = Date.now();
    rig.send('h', { payload: rejection('rj-1') });
    rig.send('h', { payload: rejection('rj-1') });
    const msg = await rig.next('yes', 10_000);
    expect(msg.handoff.attempts).to.equal(4);
    expect(Date.now() - began, 'Retry-After of 1 s and a timeout of 1 s were waited for').to.be.greaterThan(1900);
    await new Promise((r) => setTimeout(r, 300));
    expect(rig.got('yes').length).to.equal(1);
  });

  it('gives up what is refused, says so, and goes on with the same subject', async () => {
    const rig = await nodeRed();
    hook.reply = ({ body }) => ({ status: body.includes('rj-bad') ? 422 : 200 });
    await rig.deploy(flow(rig, { url: hook.url }));
    rig.send('h', { payload: [rejection('rj-bad'), rejection('rj-good')] });
    expect((await rig.next('no')).handoff).to.include({ key: 'rj-bad', attempts: 2, error: 'answered 422' });
    expect((await rig.next('yes')).handoff.key).to.equal('rj-good');
  });

  it('counts refusals alone: an outage before them uses up no tries', async () => {
    const rig = await nodeRed();
    hook.reply = (_r, count) => ({ status: count <= 3 ? 503 : count === 4 ? 404 : 200 });
    await rig.deploy(flow(rig, { url: hook.url }));
    rig.send('h', { payload: rejection('rj-1') });
    expect((await rig.next('yes', 10_000)).handoff).to.include({ key: 'rj-1', attempts: 5, status: '200' });
    expect(rig.got('no')).to.deep.equal([]);
  });

  it('keeps the order of a subject while another subject does not wait', async () => {
    const rig = await nodeRed();
    hook.reply = ({ body }) => (body.includes('rj-a1') && hook.received.length < 4 ? { status: 503 } : { status: 200 });
    await rig.deploy(flow(rig, { url: hook.url }));
    rig.send('h', { payload: [rejection('rj-a1', 'a'), rejection('rj-a2', 'a'), rejection('rj-b1', 'b')] });
    const order = (await rig.until('yes', 3, 10_000)).map((m) => m.payload.id);
    expect(order.indexOf('rj-a1')).to.be.lessThan(order.indexOf('rj-a2'));
    expect(order[0]).to.equal('rj-b1');
  });

  it('delivers after a restart what was in the outbox, and no secret is told', async () => {
    const rig = await nodeRed();
    const closed = createServer().listen(0, '127.0.0.1');
    await once(closed, 'listening');
    const { port } = closed.address() as { port: number };
    closed.close();
    const file = `handoff-restart-${process.pid}.sqlite`;
    await rig.deploy(flow(rig, { url: `http://127.0.0.1:${port}/x`, credentials: { token: 'very-secret' } }, file));
    rig.send('h', { payload: rejection('rj-1') });
    for (let i = 0; i < 500 && rig.status('h')?.text !== 'retrying, 1'; i++)
      await new Promise((r) => setTimeout(r, 20));
    expect(rig.status('h')?.text).to.equal('retrying, 1');
    await rig.deploy(flow(rig, { url: hook.url, credentials: { token: 'very-secret' } }, file));
    await rig.next('yes', 10_000);
    expect(JSON.stringify([rig.errors, rig.status('h')])).not.to.contain('very-secret');
  });

  it('delivers once a ledger that was away at the start is there', async () => {
    const rig = await nodeRed();
    const folder = `handoff-later-${process.pid}`;
    await rig.deploy(flow(rig, { url: hook.url }, join(folder, 'ledger.sqlite')));
    for (let i = 0; i < 100 && rig.status('h')?.text !== 'ledger not open'; i++)
      await new Promise((r) => setTimeout(r, 20));
    expect(rig.status('h')).to.include({ fill: 'red', text: 'ledger not open' });
    rig.send('h', { payload: rejection('rj-1') });
    mkdirSync(join(rig.userDir, folder));
    expect((await rig.next('yes', 15_000)).handoff).to.include({ key: 'rj-1', attempts: 1 });
    expect(rig.errors).to.deep.equal([]);
  });

  it('lets go of the other side when it is closed before the ledger was ever there', async () => {
    const rig = await nodeRed();
    const server = createServer().listen(0, '127.0.0.1');
    await once(server, 'listening');
    const { port } = server.address() as { port: number };
    const connected = once(server, 'connection');
    await rig.deploy([
      { id: 'broker', type: 'mqtt-broker', broker: '127.0.0.1', port: String(port), protocolVersion: '4' },
      ...flow(rig, { way: 'mqtt', broker: 'broker' }, join(`never-${process.pid}`, 'ledger.sqlite')),
    ]);
    const [socket] = (await connected) as [Socket];
    const ended = once(socket.resume(), 'close');
    await rig.deploy([rig.probe('x')]);
    await ended;
    server.close();
  });

  it('lets two nodes on one outbox accept each delivery once between them', async () => {
    const rig = await nodeRed();
    const [ledger, h, yes, no] = flow(rig, { url: hook.url });
    await rig.deploy([
      ledger!,
      h!,
      { ...(h as AnyMsg), id: 'h2', type: 'phaseloom-handoff', wires: [['yes'], ['no']] },
      yes!,
      no!,
    ]);
    const ids = Array.from({ length: 60 }, (_, i) => `rj-${i}`);
    for (const [i, id] of ids.entries()) rig.send(i % 2 ? 'h' : 'h2', { payload: rejection(id, `s${i % 7}`) });
    const all = await rig.until('yes', 60, 15_000);
    expect(new Set(all.map((m) => m.payload.id)).size).to.equal(60);
    expect(hook.received.length).to.equal(60);
  });

  it('refuses a message that is no record, and an address that is none', async () => {
    const rig = await nodeRed();
    await rig.deploy(flow(rig, { url: 'ftp://x' }));
    expect(rig.status('h')?.fill).to.equal('red');
    await rig.deploy(flow(rig, { url: hook.url }));
    rig.send('h', { payload: 'hello' });
    for (let i = 0; i < 100 && rig.errors.length < 1; i++) await new Promise((r) => setTimeout(r, 20));
    expect(rig.errors[0]).to.include({ code: 'record-expected' });
  });

  it('hands over by MQTT, accepted when the broker acknowledges', async () => {
    const { Aedes } = await import('aedes');
    const aedes = await Aedes.createBroker();
    const server = createServer(aedes.handle).listen(0, '127.0.0.1');
    await once(server, 'listening');
    const { port } = server.address() as { port: number };
    const outside = await mqtt.connectAsync(`mqtt://127.0.0.1:${port}`);
    await outside.subscribeAsync('out/#', { qos: 1 });
    const arrived = new Promise<[string, Buffer]>((resolve) => outside.once('message', (t, p) => resolve([t, p])));
    const rig = await nodeRed();
    await rig.deploy([
      {
        id: 'broker',
        type: 'mqtt-broker',
        broker: '127.0.0.1',
        port: String(port),
        protocolVersion: '4',
        clientid: '',
      },
      ...flow(rig, { way: 'mqtt', broker: 'broker', mqttTopic: 'out/{kind}' }),
    ]);
    rig.send('h', { payload: rejection('rj-1') });
    expect((await rig.next('yes', 10_000)).handoff.status).to.equal('acknowledged');
    const [topic, payload] = await arrived;
    expect([topic, JSON.parse(String(payload)).id]).to.deep.equal(['out/rejection', 'rj-1']);
    // Wildcards may not stand in the topic of a message (MQTT 5.0, section 4.7.1).
    const next = new Promise<string>((resolve) => outside.once('message', resolve));
    rig.send('h', { payload: { ...rejection('x-1'), kind: 'a#b+c$&' } });
    await rig.until('yes', 2, 10_000);
    expect(await next).to.equal('out/a_b_c$&');
    await rig.deploy([rig.probe('x')]);
    await outside.endAsync(true);
    aedes.close();
    server.close();
  });
});
