/** What a production site has and a demo brings along: an MQTT broker, and Node-RED with the pack installed. */
import { once } from 'node:events';
import { existsSync, mkdirSync, symlinkSync, writeFileSync } from 'node:fs';
import http from 'node:http';
import net from 'node:net';
import { join, resolve } from 'node:path';
import { Aedes } from 'aedes';

const HOST = '127.0.0.1';
export const ROOT = resolve(__dirname, '../..');

/** Listens on the first free port from `first` on, this machine only. */
export async function listen(server: net.Server, first: number): Promise<number> {
  for (let port = first; port < first + 100; port++) {
    const error = await new Promise<NodeJS.ErrnoException | undefined>((told) => {
      server.once('error', told);
      server.listen(port, HOST, () => {
        server.off('error', told);
        told(undefined);
      });
    });
    if (!error) return port;
    if (error.code !== 'EADDRINUSE' && error.code !== 'EACCES') throw error;
  }
  throw new Error(`no free port between ${first} and ${first + 99}`);
}

export interface Broker {
  readonly url: string;
  stop(): Promise<void>;
}

/** A broker in this process. Its sessions do not outlive it. */
export async function startBroker(firstPort: number): Promise<Broker> {
  const aedes = await Aedes.createBroker();
  const server = net.createServer(aedes.handle);
  const port = await listen(server, firstPort);
  return {
    url: `mqtt://${HOST}:${port}`,
    async stop() {
      await new Promise<void>((closed) => aedes.close(closed));
      server.close();
    },
  };
}

// biome-ignore lint/suspicious/noExplicitAny: the embedded runtime's API is used beyond its published types
export type Red = any;

export interface NodeRed {
  readonly RED: Red;
  /** last status of each node */
  readonly statuses: ReadonlyMap<string, { readonly shape?: string; readonly text?: string }>;
  stop(): Promise<void>;
}

/** Claims the port of Node-RED before the flow is written, since the flow names it. */
export async function startHttp(firstPort: number): Promise<{ server: http.Server; url: string }> {
  const server = http.createServer();
  const port = await listen(server, firstPort);
  return { server, url: `http://${HOST}:${port}` };
}

/** A user directory with the pack linked in as `npm install` would put it. */
export function prepareUserDir(userDir: string): void {
  const scope = join(userDir, 'node_modules/@phaseloom');
  mkdirSync(scope, { recursive: true });
  if (!existsSync(join(scope, 'node-red'))) symlinkSync(ROOT, join(scope, 'node-red'), 'dir');
  const manifest = {
    name: 'phaseloom-demo',
    version: '0.0.0',
    private: true,
    dependencies: { '@phaseloom/node-red': '*' },
  };
  writeFileSync(join(userDir, 'package.json'), `${JSON.stringify(manifest, null, 2)}\n`);
}

/** Node-RED in this process, editor and HTTP nodes on the given server. */
export async function startNodeRed(userDir: string, { server }: { server: http.Server }): Promise<NodeRed> {
  const RED: Red = require('node-red');
  const app = require('express')();
  RED.init(server, settings(userDir));
  app.use('/', RED.httpAdmin);
  app.use('/', RED.httpNode);
  server.on('request', app);
  const statuses = new Map<string, object>();
  RED.events.on('node-status', (e: { id: string; status: object }) => statuses.set(e.id, e.status));
  const flowsRun = Promise.race([once(RED.events, 'flows:started'), missingTypes(RED)]);
  await RED.start();
  await flowsRun;
  return {
    RED,
    statuses,
    async stop() {
      await RED.stop();
      server.closeAllConnections();
      server.close();
    },
  };
}

/** Rejects when the flow names nodes that Node-RED does not know, and so does not run. */
function missingTypes(RED: Red): Promise<never> {
  return new Promise((_, reject) => {
    RED.events.on('runtime-event', ({ payload }: { payload?: { error?: string; types?: string[] } }) => {
      if (payload?.error !== 'missing-types') return;
      reject(new Error(`Node-RED does not know ${payload.types?.join(', ')}: run npm run build, then npm start`));
    });
  });
}

function settings(userDir: string): object {
  return {
    userDir,
    flowFile: 'flows.json',
    httpAdminRoot: '/',
    httpNodeRoot: '/',
    credentialSecret: 'demo',
    logging: { console: { level: process.env.PHASELOOM_DEMO_LOG ?? 'error', metrics: false, audit: false } },
    editorTheme: { tours: false, palette: { allowInstall: false }, projects: { enabled: false } },
    externalModules: { autoInstall: false },
    telemetry: { enabled: false, updateNotification: false },
  };
}
