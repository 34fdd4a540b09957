import http from 'node:http';
import { expect } from 'chai';
import { feeder13Config } from '../kit/feeder13';
import { newLedger } from '../kit/ledger-in-flow';
import { type FlowNode, nodeRed, type Rig } from '../kit/node-red';
import { Hostile } from './fuzz-input';
import { scaled, tell } from './scale';

const COUNT = scaled(600, 20_000);
const SEED = 20_260_504;

const GETS = [
  'phaseloom/api/alerts?x=1',
  'phaseloom/api/alerts/history?key=terminal/x',
  'phaseloom/api/records?subject=x%2F&limit=5&order=newest-first',
  'phaseloom/api/record?id=reading-1',
  'phaseloom/api/site?id=671',
  'phaseloom/api/health?x',
  'phaseloom/api/records/file?as=csv&kinds=reading',
  'phaseloom/index.html',
  'red/phaseloom/ready?x=1',
];
const POSTS: readonly (readonly [path: string, body: object])[] = [
  ['phaseloom/api/alerts/act', { action: 'acknowledge', key: 'terminal/x', by: 'Op 1', comment: 'seen' }],
  [
    'phaseloom/api/field/readings',
    { readings: [{ terminal: '671/1', takenAt: '2026-05-04T10:15:30Z', angleDeg: 1, against: 'utc' }] },
  ],
  ['red/phaseloom/network/check', { text: 'terminal,site\nx/1,x\n', id: 'n' }],
];

/** Under the admin address Node-RED's own parser stands before us: what is no JSON never comes to us. */
const bodyOf = (h: Hostile, target: string, body: object): Buffer =>
  target.startsWith('red/') ? Buffer.from(writable(h.almost(body))) : h.bytes(JSON.stringify(body));

function writable(value: object): string {
  try {
    return JSON.stringify(value);
  } catch {
    return '{}';
  }
}

describe('hostile requests', function () {
  this.timeout(300_000);
  let rig: Rig;
  before(async () => {
    rig = await nodeRed();
    await rig.deploy([
      ...(feeder13Config() as unknown as FlowNode[]),
      newLedger(),
      { id: 'board', type: 'phaseloom-board', ledger: 'ledger', network: 'network', frame: 'frame' },
      { id: 'in', type: 'phaseloom-readings-in', ledger: 'ledger', wires: [[], []] },
      { id: 'desk', type: 'phaseloom-alert-desk', ledger: 'ledger', holdS: 0, wires: [[]] },
    ]);
  });
  after(() => rig.deploy([]));

  /** The status; 0 when the connection is broken off before an answer. */
  function ask(method: string, path: string, body?: Buffer): Promise<{ status: number; text: string }> {
    return new Promise((resolve) => {
      const headers = {
        'x-phaseloom': 'board',
        'content-type': 'application/json',
        ...(body ? { 'content-length': body.length } : {}),
      };
      const request = http.request(
        { host: '127.0.0.1', port: rig.port, method, path, headers, timeout: 5000 },
        (response) => {
          let text = '';
          response.on('data', (chunk) => (text += chunk));
          response.on('end', () => resolve({ status: response.statusCode ?? 0, text }));
        },
      );
      request.on('timeout', () => request.destroy());
      request.on('error', (cause) => resolve({ status: 0, text: cause.message }));
      request.end(body);
    });
  }

  for (const path of ['//', '///x', '//phaseloom/api/health', '//[']) {
    it(`GET ${path} is a path nobody knows`, async () => {
      expect((await ask('GET', path)).status).to.be.oneOf([308, 404]);
    });
  }

  it(`${COUNT} requests: each is answered, none with a fault of ours, none with a trace of our code`, async () => {
    const wrong: string[] = [];
    const statuses: Record<number, number> = {};
    for (let n = 0; n < COUNT; n++) {
      const h = new Hostile(SEED + n);
      const isPost = h.below(2) === 0;
      const [target, body] = h.pick(POSTS);
      const path = isPost ? `/${target}` : `/${encodeURI(h.damaged(h.pick(GETS)).toWellFormed()).replaceAll('#', '')}`;
      const { status, text } = await ask(isPost ? 'POST' : 'GET', path, isPost ? bodyOf(h, target, body) : undefined);
      statuses[status] = (statuses[status] ?? 0) + 1;
      if (status === 0 || status >= 500 || /node_modules|\n\s+at /.test(text)) {
        wrong.push(`seed ${SEED + n}: ${isPost ? 'POST' : 'GET'} ${path}: ${status} ${text.slice(0, 300)}`);
      }
    }
    const sorted = Object.fromEntries(Object.entries(statuses).map(([status, n]) => [`answered ${status}`, n]));
    tell(`requests, seed ${SEED}`, { published: COUNT, arrived: COUNT - wrong.length, duplicates: 0, ...sorted });
    expect(wrong).to.deep.equal([]);
    expect(statuses[200], 'some were sound enough').to.be.greaterThan(0);
    expect(statuses[400], 'some were refused').to.be.greaterThan(0);
  });
});
