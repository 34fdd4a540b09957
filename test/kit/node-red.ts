/**
 * A real headless Node-RED in this process, with the built pack linked into its user directory as a user would install it.
 * One instance a process; each test deploys its own flow. Build first: the pack is loaded from dist.
 *
 *   const rig = await nodeRed();
 *   await rig.deploy([{ id: 'n1', type: 'phaseloom-screen', wires: [['p1']] }, rig.probe('p1')]);
 *   rig.send('n1', { payload: reading });
 *   const msg = await rig.next('p1');
 *
 * `probe` nodes collect what reaches them. Errors told by done(err) are collected with `rig.probe('c', 'catch')`
 * wired from a core catch node, or read from `rig.errors`.
 */
import { EventEmitter, once } from 'node:events';
import { mkdirSync, mkdtempSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import http from 'node:http';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';

export interface FlowNode {
  id: string;
  type: string;
  wires?: string[][];
  [property: string]: unknown;
}
// biome-ignore lint/suspicious/noExplicitAny: messages under test are of any shape
export type AnyMsg = Record<string, any>;

export interface Rig {
  readonly userDir: string;
  readonly port: number;
  readonly errors: { node: string; message: string; code?: string }[];
  /** a node that collects, for the flow */
  probe(id: string): FlowNode;
  /** replaces the whole flow; nodes get a tab (z) unless they are config nodes (no wires) */
  deploy(flow: FlowNode[], type?: 'full' | 'nodes' | 'flows'): Promise<void>;
  send(id: string, msg: AnyMsg): void;
  /** the runtime node */
  // biome-ignore lint/suspicious/noExplicitAny: node instances differ
  node(id: string): any;
  got(probe: string): AnyMsg[];
  /** the next message not yet taken from this probe */
  next(probe: string, withinMs?: number): Promise<AnyMsg>;
  /** waits until the probe holds n messages in all */
  until(probe: string, n: number, withinMs?: number): Promise<AnyMsg[]>;
  status(id: string): { fill?: string; shape?: string; text?: string } | undefined;
  stop(): Promise<void>;
}

const root = resolve(__dirname, '../..');
const arrivals = new EventEmitter().setMaxListeners(0);
const collected = new Map<string, AnyMsg[]>();
const taken = new Map<string, number>();
let running: Promise<Rig> | undefined;

(globalThis as Record<string, unknown>).phaseloomProbe = (id: string, msg: AnyMsg) => {
  collected.set(id, [...(collected.get(id) ?? []), msg]);
  arrivals.emit(id);
};

const PROBE_JS = `module.exports = function (RED) {
  RED.nodes.registerType('probe', function (config) {
    RED.nodes.createNode(this, config);
    this.on('input', (msg, send, done) => { globalThis.phaseloomProbe(this.id, msg); done(); });
  });
};`;
const PROBE_HTML = `<script type="text/javascript">RED.nodes.registerType('probe', { category: 'test', defaults: {}, inputs: 1, outputs: 0 });</script>`;

/** A user directory with the pack linked in and the probe node beside it. */
export function makeUserDir(): string {
  const userDir = mkdtempSync(join(tmpdir(), 'phaseloom-test-'));
  mkdirSync(join(userDir, 'node_modules/@phaseloom'), { recursive: true });
  symlinkSync(root, join(userDir, 'node_modules/@phaseloom/node-red'), 'dir');
  mkdirSync(join(userDir, 'nodes'));
  writeFileSync(join(userDir, 'nodes/probe.js'), PROBE_JS);
  writeFileSync(join(userDir, 'nodes/probe.html'), PROBE_HTML);
  writeFileSync(
    join(userDir, 'package.json'),
    JSON.stringify({ name: 'test', version: '0.0.0', private: true, dependencies: { '@phaseloom/node-red': '*' } }),
  );
  return userDir;
}

export function nodeRed(): Promise<Rig> {
  running ??= start();
  return running;
}

async function start(): Promise<Rig> {
  // biome-ignore lint/suspicious/noExplicitAny: the embedded runtime's API is used beyond its published types
  const RED: any = require('node-red');
  const userDir = makeUserDir();
  const app = require('express')();
  const server = http.createServer(app);
  RED.init(server, settings(userDir));
  app.use('/red', RED.httpAdmin);
  app.use('/', RED.httpNode);
  const idle = once(RED.events, 'flows:started');
  await RED.start();
  await idle;
  server.listen(0, '127.0.0.1');
  await once(server, 'listening');
  const port = (server.address() as { port: number }).port;
  const statuses = new Map<string, { fill?: string; shape?: string; text?: string }>();
  RED.events.on('node-status', (e: { id: string; status: object }) => statuses.set(e.id, e.status));
  const errors: Rig['errors'] = [];
  RED.hooks.add('onComplete.phaseloomTest', (e: { node: { id: string }; error?: Error & { code?: string } }) => {
    if (e.error)
      errors.push({ node: e.node.id, message: e.error.message, ...(e.error.code ? { code: e.error.code } : {}) });
  });

  const until = async (probe: string, n: number, withinMs = 5000) => {
    const deadline = Date.now() + withinMs;
    while ((collected.get(probe)?.length ?? 0) < n) {
      const left = deadline - Date.now();
      if (left <= 0)
        throw new Error(`probe ${probe}: ${collected.get(probe)?.length ?? 0} of ${n} messages after ${withinMs} ms`);
      await Promise.race([once(arrivals, probe), new Promise((r) => setTimeout(r, left))]);
    }
    return collected.get(probe) ?? [];
  };

  return {
    userDir,
    port,
    errors,
    probe: (id) => ({ id, type: 'probe', wires: [] }),
    async deploy(flow, type = 'full') {
      if (type === 'full') {
        collected.clear();
        taken.clear();
        statuses.clear();
        errors.length = 0;
      }
      const nodes = flow.map((n) => (n.wires ? { z: 'tab', x: 100, y: 100, ...n } : n));
      const started = once(RED.events, 'flows:started');
      await RED.runtime.flows.setFlows({
        flows: { flows: [{ id: 'tab', type: 'tab', label: 'test' }, ...nodes] },
        deploymentType: type,
      });
      await started;
    },
    send: (id, msg) => RED.nodes.getNode(id).receive(msg),
    node: (id) => RED.nodes.getNode(id),
    got: (probe) => collected.get(probe) ?? [],
    async next(probe, withinMs) {
      const n = taken.get(probe) ?? 0;
      taken.set(probe, n + 1);
      return (await until(probe, n + 1, withinMs))[n]!;
    },
    until,
    status: (id) => statuses.get(id),
    async stop() {
      RED.hooks.remove('*.phaseloomTest');
      await RED.stop();
      server.closeAllConnections();
      server.close();
      rmSync(userDir, { recursive: true, force: true });
      running = undefined;
    },
  };
}

function settings(userDir: string): object {
  return {
    userDir,
    httpAdminRoot: '/red',
    httpNodeRoot: '/',
    flowFile: 'flows.json',
    credentialSecret: 'test',
    logging: { console: { level: process.env.PHASELOOM_TEST_LOG ?? 'fatal', metrics: false, audit: false } },
    editorTheme: { tours: false, palette: { allowInstall: false } },
    externalModules: { autoInstall: false },
    telemetry: { enabled: false, updateNotification: false },
    disableEditor: process.env.PHASELOOM_TEST_EDITOR !== '1',
  };
}
