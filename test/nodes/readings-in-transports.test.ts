/** The ways to a broker other than plain TCP, through core's broker and TLS nodes: TLS with client certificates, and WebSocket. */
import { execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { expect } from 'chai';
import { connectAsync, type MqttClient } from 'mqtt';
import { type Broker, freePort, mosquitto } from '../kit/broker';
import { nodeRed, type Rig } from '../kit/node-red';

const COUNT = 300;
const reading = (n: number) => ({
  terminal: `hollin-bank/F3/S${n}/2`,
  takenAt: new Date(Date.UTC(2026, 4, 4) + n * 1000).toISOString(),
  angleDeg: -118.4,
  against: 'utc',
  note: 'n'.repeat(500),
});

/** A certificate authority of our own; a server, a client, and a stranger that it does not know. */
function certificates(folder: string): (name: string) => string {
  const made = (name: string) => join(folder, name);
  const request = (name: string, ...more: string[]) => {
    const files = ['-keyout', made(`${name}.key`), '-out', made(`${name}.pem`)];
    const what = ['req', '-x509', '-newkey', 'rsa:2048', '-nodes', '-days', '2', '-subj', `/CN=${name}`];
    execFileSync('openssl', [...what, ...files, ...more], { stdio: 'pipe' });
  };
  const signed = ['-CA', made('ca.pem'), '-CAkey', made('ca.key')];
  request('ca');
  request('server', ...signed, '-addext', 'subjectAltName=DNS:localhost');
  request('west-crew', ...signed);
  request('stranger');
  return made;
}

describe('readings in, over TLS and WebSocket', function () {
  this.timeout(120_000);
  let folder: string;
  let made: (name: string) => string;
  let broker: Broker;
  let tlsPort: number;
  let webPort: number;
  let publisher: MqttClient;
  let rig: Rig;
  let run = 0;

  before(async () => {
    folder = mkdtempSync(join(tmpdir(), 'phaseloom-tls-'));
    made = certificates(folder);
    tlsPort = await freePort();
    webPort = await freePort();
    broker = await mosquitto([
      `listener ${tlsPort} 127.0.0.1`,
      `cafile ${made('ca.pem')}`,
      `certfile ${made('server.pem')}`,
      `keyfile ${made('server.key')}`,
      'require_certificate true',
      'use_identity_as_username true',
      `listener ${webPort} 127.0.0.1`,
      'protocol websockets',
    ]);
    publisher = await connectAsync(broker.url);
    rig = await nodeRed();
  });
  after(async () => {
    await rig.deploy([]);
    publisher.end(true);
    await broker.stop();
    rmSync(folder, { recursive: true, force: true });
  });
  beforeEach(() => {
    run++;
  });

  const deploy = (over: object, tls: object = {}) =>
    rig.deploy([
      { id: 'tls', type: 'tls-config', verifyservercert: true, ca: made('ca.pem'), credentials: {}, ...tls },
      { id: 'broker', type: 'mqtt-broker', protocolVersion: '5', keepalive: 60, ...over },
      { id: 'ledger', type: 'phaseloom-ledger', file: `transport-${run}.sqlite` },
      {
        id: 'in',
        type: 'phaseloom-readings-in',
        broker: 'broker',
        ledger: 'ledger',
        topics: [`way${run}/#`],
        clientId: `way-${run}`,
        wires: [['good'], []],
      },
      rig.probe('good'),
    ]);
  const byTls = () => ({ broker: 'localhost', port: tlsPort, usetls: true, tls: 'tls' });
  const counters = () => rig.node('in').counters() as Record<string, number>;
  const until = async (holds: () => boolean) => {
    for (let i = 0; i < 3000 && !holds(); i++) await new Promise((r) => setTimeout(r, 10));
    expect(holds(), `${holds}; ${JSON.stringify(counters())}`).to.equal(true);
  };
  const takesAll = async () => {
    await until(() => counters().connects === 1 && rig.status('in')?.fill === 'green');
    const sent = Array.from({ length: COUNT }, (_, n) => JSON.stringify(reading(n)));
    await Promise.all(sent.map((text) => publisher.publishAsync(`way${run}/P-07`, text, { qos: 1 })));
    await until(() => counters().acked === COUNT);
    expect((await rig.until('good', COUNT)).map((msg) => msg.payload.terminal)).to.deep.equal(
      Array.from({ length: COUNT }, (_, n) => reading(n).terminal),
    );
    expect(counters()).to.include({ stored: COUNT, duplicates: 0, rejected: 0, acksDropped: 0 });
  };
  /** Said once for each reason, and tried again all the time. */
  const staysOut = async (why: RegExp) => {
    const said: string[] = [];
    rig.node('in').log = (text: string) => said.push(text);
    await until(() => said.some((text) => text.startsWith('cannot connect to the broker') && why.test(text)));
    await new Promise((r) => setTimeout(r, 2500));
    expect(new Set(said).size).to.equal(said.length);
    expect(counters().connects).to.equal(0);
    expect(rig.status('in')).to.deep.include({ fill: 'red', text: 'disconnected' });
  };

  it('takes, stores and acknowledges over TLS with a certificate of its own, by which the broker knows it', async () => {
    await deploy(byTls(), { cert: made('west-crew.pem'), key: made('west-crew.key') });
    await takesAll();
    expect(broker.log()).to.match(/as way-\d+ .*u'west-crew'/);
  });

  it('stays out, and says so, without a certificate or with one of a stranger', async () => {
    await deploy(byTls());
    await staysOut(/certificate|handshake|alert/);
    await deploy(byTls(), { cert: made('stranger.pem'), key: made('stranger.key') });
    await staysOut(/certificate|handshake|alert|unknown ca/);
  });

  it('trusts no server whose certificate it cannot trace', async () => {
    await deploy(byTls(), { ca: made('stranger.pem'), cert: made('west-crew.pem'), key: made('west-crew.key') });
    await staysOut(/certificate/);
  });

  it('takes, stores and acknowledges over WebSocket', async () => {
    await deploy({ broker: `ws://127.0.0.1:${webPort}` });
    await takesAll();
  });
});
