/**
 * Several Node-RED workers, each a process of its own with the same flow: a real broker that shares the readings out, one PostgreSQL
 * database, the IEEE 13-node feeder, and an outside system that takes what is handed on.
 */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { connectAsync } from 'mqtt';
import pg from 'pg';
import type { Reading } from '../../lib';
import { type Receiver, receiver } from '../faults/receiver';
import { type Broker, mosquitto } from './broker';
import { type ChildRed, childRed } from './child-red';
import { at, BUSES, feeder13, feeder13Config, readAt, referenceAt } from './feeder13';
import type { FlowNode } from './node-red';

/** An invented tie between nodes 633 and 680. */
const TIE = { id: 'TIE', left: [1, 2, 3].map((k) => `633/${k}`), right: [1, 2, 3].map((k) => `680/${k}`) };

export interface Crew {
  readonly broker: Broker;
  readonly outside: Receiver;
  readonly workers: readonly ChildRed[];
  sql<T>(text: string): Promise<T[]>;
  publish(readings: readonly Reading[], perSecond: number): Promise<void>;
  stop(): Promise<void>;
}

/** A database of its own on a server that runs, and so many workers on it, started. */
export async function crew(
  serverConnection: string,
  database: string,
  count: number,
  door: object = {},
  preload?: string,
): Promise<Crew> {
  await once(serverConnection, `create database ${database}`);
  const connection = serverConnection.replace(/[^/]*$/, database);
  const [broker, outside] = await Promise.all([mosquitto(), receiver()]);
  const workers = await Promise.all(
    Array.from({ length: count }, () => childRed(wholeJob(broker.port, outside.url, door), preload)),
  );
  for (const { userDir } of workers) {
    writeFileSync(join(userDir, 'flows_cred.json'), JSON.stringify({ ledger: { connection } }));
  }
  const admin = new pg.Pool({ connectionString: connection, max: 1 });
  admin.on('error', () => {});
  const sql = async <T>(text: string) => (await admin.query(text)).rows as T[];
  await Promise.all(workers.map((w) => w.start()));
  await shared(sql, count);
  await Promise.all(workers.map(subscribed));
  return {
    broker,
    outside,
    workers,
    sql,
    publish: (readings, perSecond) => publish(broker.port, readings, perSecond),
    async stop() {
      await Promise.all(workers.map((w) => w.kill()));
      await admin.end();
      await Promise.all([broker.stop(), outside.down()]);
    },
  };
}

async function once(connectionString: string, text: string): Promise<void> {
  const client = new pg.Client({ connectionString });
  await client.connect();
  await client.query(text);
  await client.end();
}

/** Every worker holds lanes, and none is free. */
async function shared(sql: Crew['sql'], count: number): Promise<void> {
  for (let i = 0; i < 600; i++) {
    const held = await holders(sql).catch(() => []);
    if (held.length === count && held.reduce((n, h) => n + h.lanes, 0) === LANES) return;
    await sleep(50);
  }
  throw new Error('the workers did not share the lanes');
}

/** What is published before that goes nowhere. */
async function subscribed(worker: ChildRed): Promise<void> {
  for (let i = 0; i < 600; i++) {
    if (worker.log().includes('connected to the broker as')) return;
    await sleep(50);
  }
  throw new Error('a worker did not connect to the broker');
}

export const LANES = 34;

export const holders = (sql: Crew['sql']) =>
  sql<{ holder: string; lanes: number }>(
    `select holder, count(*)::int as lanes from phaseloom.claim
     where scope = 'door:in' and until_us > extract(epoch from clock_timestamp()) * 1e6 group by holder`,
  );

async function publish(port: number, readings: readonly Reading[], perSecond: number): Promise<void> {
  const client = await connectAsync(`mqtt://127.0.0.1:${port}`, { clean: false, clientId: 'crews' });
  const acknowledged: Promise<unknown>[] = [];
  for (const [i, { id: _made, ...said }] of readings.entries()) {
    acknowledged.push(client.publishAsync('readings/crews', JSON.stringify(said), { qos: 1 }));
    if (i % 10 === 9) await sleep(10_000 / perSecond);
  }
  await Promise.all(acknowledged);
  await client.endAsync();
}

const BROKER = { id: 'broker', type: 'mqtt-broker', broker: '127.0.0.1', protocolVersion: '5', keepalive: '60' };

function wholeJob(brokerPort: number, url: string, door: object): FlowNode[] {
  const both = { frame: 'frame', network: 'network', ledger: 'ledger' };
  const finds = (id: string, type: string, more: object = {}) => ({
    ...{ id, type, ...both, ...more },
    wires: [['desk']],
  });
  return [
    { ...BROKER, port: String(brokerPort) },
    { id: 'ledger', type: 'phaseloom-ledger', driver: 'postgres' },
    ...(feeder13Config(feeder13({ openPoints: [{ ...TIE }] })) as FlowNode[]),
    {
      id: 'in',
      type: 'phaseloom-readings-in',
      broker: 'broker',
      group: 'workers',
      ledger: 'ledger',
      topics: ['readings/#'],
      settleS: 2,
      gatherMs: 4000,
      ...door,
      wires: [['screen'], []],
    },
    { id: 'screen', type: 'phaseloom-screen', ...both, wires: [['phase', 'rotation', 'tie'], ['desk']] },
    finds('phase', 'phaseloom-phase-id', { waitS: 10 }),
    finds('rotation', 'phaseloom-rotation', { waitS: 10 }),
    finds('tie', 'phaseloom-tie-check', { waitS: 10, windowS: 40 }),
    { id: 'desk', type: 'phaseloom-alert-desk', ledger: 'ledger', holdS: 0, perMinute: 100_000, wires: [['off']] },
    {
      id: 'off',
      type: 'phaseloom-handoff',
      ledger: 'ledger',
      destination: 'outside',
      way: 'http',
      url,
      wires: [[], []],
    },
  ];
}

/** Seconds between two rounds of a crew. */
const ROUND_S = 60;

/**
 * Rounds in which every site is read, terminal by terminal, against UTC, with the stream of the reference station around it. One lateral is
 * recorded on the wrong phases (675: they turn the same way, each one on), one site turns the other way (680, hence the tie is not the
 * same phase), and one instrument fails its self-test now and then.
 */
export function story(rounds: number): Reading[] {
  const taken: Reading[] = [];
  for (let round = 0; round < rounds; round++) {
    const from = round * ROUND_S;
    for (let s = 0; s <= 22; s++) taken.push(referenceAt(at(from + s - 1)));
    const terminals = BUSES.flatMap((bus) => [1, 2, 3].map((k) => ({ bus, k })));
    terminals.forEach(({ bus, k }, i) => {
      const really = truth(bus)[k - 1] as 'A';
      const isFaulty = bus === '671' && round % 5 === 2;
      const instrument = { id: isFaulty ? 'P-09' : 'P-01', selfTest: isFaulty ? 'fail' : 'pass', batteryPct: 80 };
      const over = { instrument, sigmaDeg: 0.5 } as Partial<Reading>;
      taken.push(readAt(`${bus}/${k}`, { atUs: at(from + i + 0.3), really, against: 'utc', over }));
    });
  }
  return taken.sort((a, b) => (a.takenAt < b.takenAt ? -1 : 1));
}

function truth(bus: string): string {
  if (bus === '675') return 'BCA';
  return bus === '680' ? 'ACB' : 'ABC';
}
