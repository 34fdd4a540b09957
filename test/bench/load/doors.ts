/** What the durable door is held against: flows, and one program without Node-RED, each taking the same readings from the same broker. */
import { connect, type IClientOptions } from 'mqtt';
import type { FlowNode } from '../../kit/node-red';

export type Version = '4' | '5';
/** Starts taking; gives the way to end it. */
export type Start = (
  deploy: (flow: FlowNode[]) => Promise<void>,
  url: string,
  version: Version,
) => Promise<() => Promise<void>>;

/** One file for each run: what an earlier run left unsent would be sent again and counted here. */
let fileNumber = 0;
const newFile = (prefix: string) => `${prefix}-${fileNumber++}.sqlite`;

const SESSION_S = 3600;
/** The session that was filled is taken up again. */
export function sessionOptions(clientId: string, version: Version): IClientOptions {
  const protocolVersion = version === '5' ? 5 : 4;
  const properties = version === '5' ? { properties: { sessionExpiryInterval: SESSION_S } } : {};
  return { clientId, clean: false, protocolVersion, ...properties };
}

const brokerNode = (url: string, protocolVersion: Version): FlowNode => ({
  id: 'broker',
  type: 'mqtt-broker',
  broker: '127.0.0.1',
  port: new URL(url).port,
  protocolVersion,
  keepalive: '60',
  clientid: 'core',
  cleansession: false,
  autoConnect: true,
  autoUnsubscribe: false,
  sessionExpiry: String(SESSION_S),
});
const sink: FlowNode = { id: 'sink', type: 'bench-sink', wires: [] };
const flowOf =
  (make: (url: string, version: Version) => FlowNode[]): Start =>
  async (deploy, url, version) => {
    await deploy(make(url, version));
    return () => deploy([]);
  };

export const durable = (output: 'single' | 'batches'): Start =>
  flowOf((url, version) => [
    brokerNode(url, version),
    { id: 'ledger', type: 'phaseloom-ledger', file: newFile('bench') },
    {
      id: 'in',
      type: 'phaseloom-readings-in',
      broker: 'broker',
      ledger: 'ledger',
      topics: ['bench/#'],
      clientId: 'ours',
      output,
      wires: [['sink'], []],
    },
    sink,
  ]);

const coreIn = (url: string, version: Version, next: FlowNode): FlowNode[] => [
  brokerNode(url, version),
  {
    id: 'core-in',
    type: 'mqtt in',
    broker: 'broker',
    topic: 'bench/#',
    qos: '1',
    datatype: 'json',
    inputs: 0,
    nl: false,
    rap: true,
    rh: 0,
    wires: [[next.id]],
  },
  next,
  sink,
];

/** Stores nothing. */
export const core: Start = flowOf((url, version) =>
  coreIn(url, version, {
    id: 'f',
    type: 'function',
    func: "if (typeof msg.payload.terminal !== 'string') return null;\nreturn msg;",
    outputs: 1,
    wires: [['sink']],
  }),
);

/** As an integrator writes it: one table, one insert a message, each its own commit. */
export const inserting = (folder: string, synchronous: 'full' | 'normal'): Start =>
  flowOf((url, version) =>
    coreIn(url, version, {
      id: 'f',
      type: 'function',
      outputs: 1,
      // The function node loads no module with a node: prefix.
      libs: [{ var: 'modules', module: 'module' }],
      initialize: `const sqlite = modules.createRequire('/')('node:sqlite');
const db = new sqlite.DatabaseSync(${JSON.stringify(`${folder}/${newFile('hand')}`)});
db.exec('pragma journal_mode = wal; pragma synchronous = ${synchronous}');
db.exec('create table reading (seq integer primary key, terminal text, taken_at text, angle_deg real, body text)');
context.set('db', db);
context.set('insert', db.prepare('insert into reading (terminal, taken_at, angle_deg, body) values (?, ?, ?, ?)'));`,
      finalize: "context.get('db').close();",
      func: `const r = msg.payload;
if (typeof r.terminal !== 'string') return null;
context.get('insert').run(r.terminal, r.takenAt, r.angleDeg, JSON.stringify(r));
return msg;`,
      wires: [['sink']],
    }),
  );

/** No Node-RED: mqtt.js, QoS 1, each payload parsed. Stores nothing, acknowledges on arrival. */
export const bare =
  (count: (n: number) => void): Start =>
  async (_deploy, url, version) => {
    // Not awaited: what is queued comes with the connection.
    const client = connect(url, sessionOptions('bare', version));
    client.on('message', (_topic, bytes) => {
      if (typeof JSON.parse(bytes.toString()).terminal === 'string') count(1);
    });
    return () => client.endAsync();
  };
