import { once } from 'node:events';
import { mkdtempSync, rmSync } from 'node:fs';
import { createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { expect } from 'chai';
import { connectAsync, type IClientOptions, type MqttClient } from 'mqtt';
import * as mqttPacket from 'mqtt-packet';
import type { Held, Message } from '../../nodes/readings-in/connection';
import { SessionMemory } from '../../nodes/readings-in/identity';
import { Session } from '../../nodes/readings-in/session';
import { aedesBroker, type Broker, mosquitto, type Wire, wireTo } from '../kit/broker';

interface Peer {
  readonly name: string;
  readonly protocolVersion: 4 | 5;
  readonly port: () => number;
}

/** A session under test with everything that reached it. */
class Subject {
  readonly packets: Message[] = [];
  /** of those that wait for an acknowledgement, as they came */
  readonly messageIds: number[] = [];
  readonly held: Held[] = [];
  readonly warnings: string[] = [];
  readonly session: Session;
  /** messages there is room for */
  room = Number.POSITIVE_INFINITY;

  constructor(port: number, options: IClientOptions, filters: string[], folder: string) {
    const clientId = options.clientId!;
    const wanted = { clientId, broker: 'test', filters };
    const all = { clean: false, reconnectPeriod: 0, resubscribe: false, keepalive: 60, ...options };
    this.session = new Session(`mqtt://127.0.0.1:${port}`, all, wanted, new SessionMemory(folder, clientId), {
      arrived: (packet, held) => {
        this.packets.push(packet);
        if (held) {
          this.held.push(held);
          this.messageIds.push(held.messageId);
        }
        return this.packets.length < this.room;
      },
      warn: (text) => this.warnings.push(text),
      note: () => undefined,
    });
    this.session.start();
  }

  async until(what: string, holds: () => boolean, withinMs = 30_000): Promise<void> {
    const deadline = Date.now() + withinMs;
    while (!holds()) {
      if (Date.now() > deadline)
        throw new Error(
          `${what}: not within ${withinMs} ms; ${this.packets.length} packets, ${this.session.state}, ${this.session.lastError}`,
        );
      await new Promise((r) => setTimeout(r, 10));
    }
  }
  connected = () => this.until('connected', () => this.session.state === 'connected');
  arrived = (n: number) => this.until(`${n} messages`, () => this.packets.length >= n);
  texts = () => this.packets.map((p) => p.payload.toString());
}

const pause = (ms: number) => new Promise((r) => setTimeout(r, ms));
const numbers = (n: number) => Array.from({ length: n }, (_, i) => String(i));

describe('readings in: the MQTT session', function () {
  this.timeout(120_000);
  let broker: Broker;
  let aedes: Awaited<ReturnType<typeof aedesBroker>>;
  let folder: string;
  let wire: Wire;
  let publisher: MqttClient;
  let subjects: Subject[] = [];
  let run = 0;

  before(async () => {
    broker = await mosquitto();
    aedes = await aedesBroker();
    folder = mkdtempSync(join(tmpdir(), 'phaseloom-session-'));
  });
  after(async () => {
    await Promise.all([broker.stop(), aedes.stop()]);
    rmSync(folder, { recursive: true });
  });
  afterEach(async () => {
    await Promise.all(subjects.map((s) => s.session.end(true)));
    subjects = [];
    publisher?.end(true);
    await wire?.stop();
  });

  const peers: Peer[] = [
    { name: 'Mosquitto, MQTT 5', protocolVersion: 5, port: () => broker.port },
    { name: 'Mosquitto, MQTT 3.1.1', protocolVersion: 4, port: () => broker.port },
    { name: 'aedes, MQTT 3.1.1', protocolVersion: 4, port: () => aedes.port },
  ];

  for (const peer of peers) {
    describe(peer.name, () => {
      let topic: string;
      beforeEach(async () => {
        topic = `s${++run}`;
        wire = await wireTo(peer.port());
        publisher = await connectAsync(`mqtt://127.0.0.1:${peer.port()}`);
      });
      const open = (over: IClientOptions = {}, filters = [`${topic}/#`]) => {
        const { protocolVersion } = peer;
        const properties =
          protocolVersion === 5 ? { properties: { sessionExpiryInterval: 600, receiveMaximum: 1000 } } : {};
        const subject = new Subject(
          wire.port,
          { clientId: topic, protocolVersion, ...properties, ...over },
          filters,
          folder,
        );
        subjects.push(subject);
        return subject;
      };
      const publish = (texts: string[], sub = 'x') =>
        Promise.all(texts.map((text) => publisher.publishAsync(`${topic}/${sub}`, text, { qos: 1 })));

      it('answering handleMessage with an error sends no PUBACK and lets the next packet come (what mqtt.js must keep doing)', async () => {
        const subject = open();
        await subject.connected();
        await publish(numbers(3));
        await subject.arrived(3);
        await pause(100);
        expect(wire.acks).to.deep.equal([]);
      });

      it('acknowledges in the order of arrival, when told to', async () => {
        const subject = open();
        await subject.connected();
        await publish(numbers(50));
        await subject.arrived(20);
        while (subject.packets.length < 50 || subject.held.length > 0) {
          subject.session.acknowledge(subject.held.splice(0));
          await pause(5);
        }
        await subject.until('50 acknowledgements', () => wire.acks.length === 50);
        expect(subject.texts()).to.deep.equal(numbers(50));
        expect(wire.acks).to.deep.equal(subject.messageIds);
        expect(subject.session.facts.acked).to.equal(50);
      });

      it('gets again what it did not acknowledge, and never acknowledges on another connection', async () => {
        const subject = open();
        await subject.connected();
        await publish(numbers(5));
        await subject.arrived(5);
        subject.session.acknowledge(subject.held.slice(0, 2));
        await subject.until('two acknowledged', () => wire.acks.length === 2);
        await pause(100);
        const old = subject.held.splice(0).slice(2);
        wire.cut();
        await subject.arrived(8);
        expect(subject.texts().slice(5)).to.deep.equal(['2', '3', '4']);
        subject.session.acknowledge(old);
        expect(subject.session.facts.acksDropped).to.equal(3);
        expect(wire.acks).to.have.length(2);
        expect(subject.session.facts).to.include({ connects: 2, sessionsLost: 0 });
        subject.session.acknowledge(subject.held);
        await subject.until('all acknowledged', () => wire.acks.length === 5);
      });

      it('keeps its session over an end, gets what was published meanwhile, and ends it when removed', async () => {
        const first = open();
        await first.connected();
        await first.session.end(false);
        await publish(numbers(3));
        const second = open();
        await second.arrived(3);
        expect(second.texts()).to.deep.equal(numbers(3));
        second.session.acknowledge(second.held);
        await second.session.end(true);
        await publish(['lost on purpose']);
        const third = open();
        await third.connected();
        await pause(100);
        expect(third.packets).to.deep.equal([]);
        expect(third.session.facts.sessionsLost).to.equal(0);
      });

      it('says so when the broker has lost the session', async () => {
        const first = open();
        await first.connected();
        await first.session.end(false);
        const cleaner = await connectAsync(`mqtt://127.0.0.1:${peer.port()}`, { clientId: topic, clean: true });
        await cleaner.endAsync();
        const second = open();
        await second.connected();
        expect(second.session.facts.sessionsLost).to.equal(1);
        expect(second.warnings.join()).to.contain('no longer had our session');
        await publish(['after']);
        await second.arrived(1);
      });

      it('drops a subscription that is no longer wanted and does not get retained messages twice', async () => {
        await publisher.publishAsync(`${topic}/kept`, 'retained', { qos: 1, retain: true });
        const first = open({}, [`${topic}/kept`, `${topic}/old`]);
        await first.arrived(1);
        first.session.acknowledge(first.held);
        await first.until('acknowledged', () => wire.acks.length === 1);
        await pause(50);
        await first.session.end(false);
        const second = open({}, [`${topic}/kept`, `${topic}/new`]);
        await second.connected();
        await publish(['o'], 'old');
        await publish(['n'], 'new');
        await second.arrived(1);
        await pause(100);
        expect(second.texts()).to.deep.equal(['n']);
        await publisher.publishAsync(`${topic}/kept`, '', { retain: true });
      });

      it('takes no more than there is room for, and goes on when there is room again', async () => {
        const subject = open(
          peer.protocolVersion === 5 ? { properties: { sessionExpiryInterval: 600, receiveMaximum: 20 } } : {},
        );
        subject.room = 30;
        await subject.connected();
        await publish(numbers(200));
        const deadline = Date.now() + 60_000;
        let most = 0;
        let done = 0;
        while (done < 200 && Date.now() < deadline) {
          await pause(5);
          most = Math.max(most, subject.held.length);
          // one acknowledgement makes some brokers send a whole window more (eclipse/mosquitto#2301)
          subject.session.acknowledge(subject.held.splice(0, 10));
          done = subject.packets.length - subject.held.length;
          subject.room = done + 30;
          if (subject.held.length <= 15) subject.session.resume();
        }
        expect(done).to.equal(200);
        expect(most).to.be.at.most(30);
        expect(subject.texts()).to.deep.equal(numbers(200));
      });

      it('leaves before the keepalive is at risk when there is no room for long, and comes back for all of it', async () => {
        const subject = open({ keepalive: 4 });
        subject.room = 1;
        await subject.connected();
        await publish(numbers(10));
        await subject.until('standing back', () => subject.session.state === 'standing-back', 3000);
        expect(subject.packets).to.have.length(1);
        subject.room = Number.POSITIVE_INFINITY;
        subject.session.resume();
        await subject.arrived(11);
        expect(subject.texts().slice(1)).to.deep.equal(numbers(10));
        expect(subject.session.facts).to.include({ connects: 2, sessionsLost: 0, parks: 1 });
      });

      it('takes QoS 0 messages, which need no acknowledgement', async () => {
        const subject = open();
        await subject.connected();
        publisher.publish(`${topic}/x`, 'light', { qos: 0 });
        await subject.arrived(1);
        expect(subject.held).to.deep.equal([]);
      });
    });
  }

  it('warns when another client fights for its client id, and tries less and less often', async () => {
    wire = await wireTo(broker.port);
    publisher = await connectAsync(broker.url);
    const options = { clientId: 'twins', protocolVersion: 4 as const };
    const one = new Subject(wire.port, options, ['twins/#'], folder);
    const other = new Subject(wire.port, options, ['twins/#'], folder);
    subjects.push(one, other);
    const contested = () => [...one.warnings, ...other.warnings].some((w) => w.includes('client id twins'));
    await one.until('contested', contested, 60_000);
    const before = one.session.facts.connects + other.session.facts.connects;
    await pause(1500);
    expect(one.session.facts.connects + other.session.facts.connects - before).to.be.at.most(6);
  });

  it('counts and tells when an MQTT 5 broker says that the session was taken over (reason 142, MQTT 5.0 table 3-10)', async () => {
    const server = createServer((socket) => {
      const parser = mqttPacket.parser({ protocolVersion: 5 });
      parser.on('packet', ({ cmd }) => {
        if (cmd !== 'connect') return;
        socket.write(
          mqttPacket.generate({ cmd: 'connack', reasonCode: 0, sessionPresent: false }, { protocolVersion: 5 }),
        );
        socket.end(mqttPacket.generate({ cmd: 'disconnect', reasonCode: 142 }, { protocolVersion: 5 }));
      });
      socket.on('data', (chunk) => parser.parse(chunk));
      socket.on('error', () => undefined);
    }).listen(0, '127.0.0.1');
    await once(server, 'listening');
    const { port } = server.address() as { port: number };
    const subject = new Subject(port, { clientId: 'robbed', protocolVersion: 5 }, ['x'], folder);
    subjects.push(subject);
    await subject.until('taken over twice', () => subject.session.facts.takenOver >= 2);
    expect(subject.warnings).to.deep.equal(['another client uses our client id robbed: give each its own']);
    server.close();
  });

  it('keeps trying when the broker is not there, without a flood', async () => {
    wire = await wireTo(broker.port);
    const { port } = wire;
    await wire.stop();
    const subject = new Subject(port, { clientId: 'lonely', protocolVersion: 4 }, ['x'], folder);
    subjects.push(subject);
    await subject.until('refused', () => subject.session.state === 'waiting');
    expect(subject.session.lastError).to.contain('ECONNREFUSED');
    expect(subject.warnings).to.deep.equal([]);
  });

  it('says which subscription the broker refuses', async () => {
    const strict = await aedesBroker({
      authorizeSubscribe: (_client: unknown, subscription: { topic: string }, done: (e: null, s: unknown) => void) =>
        done(null, subscription.topic === 'forbidden/#' ? null : subscription),
    });
    wire = await wireTo(strict.port);
    const subject = new Subject(
      wire.port,
      { clientId: 'refused', protocolVersion: 4 },
      ['allowed/#', 'forbidden/#'],
      folder,
    );
    subjects.push(subject);
    await subject.connected();
    expect(subject.warnings).to.deep.equal(['the broker refuses the subscription to forbidden/#']);
    await subject.session.end(false);
    await strict.stop();
  });
});
