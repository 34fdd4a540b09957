/**
 * Real MQTT brokers for tests: Mosquitto as a process of our own on a free port, and aedes in this process.
 *
 *   const broker = await mosquitto();
 *   ... broker.port ...
 *   await broker.stop();
 *
 * Mosquitto is started with a configuration that keeps what it accepted: persistence on, queues not cut at 1000 messages.
 */
import { type ChildProcess, spawn } from 'node:child_process';
import { once } from 'node:events';
import { existsSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { connect, createServer, type Server, type Socket } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

export interface Broker {
  readonly port: number;
  readonly url: string;
  /** what it said so far */
  log(): string;
  /** asked to end (SIGTERM); what it persists is written */
  halt(): Promise<void>;
  /** SIGKILL */
  kill(): Promise<void>;
  /** again on the same port, with what it persisted */
  start(): Promise<void>;
  /** ends it for good and removes its files */
  stop(): Promise<void>;
}

const PROGRAMS = ['/usr/sbin/mosquitto', '/usr/local/sbin/mosquitto', '/opt/homebrew/sbin/mosquitto'];

export async function freePort(): Promise<number> {
  const server = createServer().listen(0, '127.0.0.1');
  await once(server, 'listening');
  const { port } = server.address() as { port: number };
  server.close();
  await once(server, 'close');
  return port;
}

/** @throws Error when Mosquitto is not installed: Debian's package is `mosquitto` */
export async function mosquitto(extra: readonly string[] = []): Promise<Broker> {
  const program = PROGRAMS.find(existsSync);
  if (!program)
    throw new Error(
      `this test needs the Mosquitto broker (Debian: apt-get install mosquitto); looked for ${PROGRAMS.join(', ')}`,
    );
  const folder = mkdtempSync(join(tmpdir(), 'phaseloom-broker-'));
  const port = await freePort();
  const file = join(folder, 'mosquitto.conf');
  writeFileSync(file, configuration(port, folder, extra));
  let child: ChildProcess | undefined;
  let log = '';

  const start = async () => {
    const begun = spawn(program, ['-c', file], { stdio: ['ignore', 'pipe', 'pipe'] });
    begun.stdout!.on('data', (d) => (log += d));
    begun.stderr!.on('data', (d) => (log += d));
    child = begun;
    await answering(
      port,
      () => begun.exitCode !== null,
      () => log,
    );
  };
  const end = async (signal: NodeJS.Signals) => {
    const ending = child;
    child = undefined;
    if (!ending || ending.exitCode !== null) return;
    ending.kill(signal);
    await once(ending, 'exit');
  };

  await start();
  return {
    port,
    url: `mqtt://127.0.0.1:${port}`,
    log: () => log,
    start,
    halt: () => end('SIGTERM'),
    kill: () => end('SIGKILL'),
    async stop() {
      await end('SIGKILL');
      rmSync(folder, { recursive: true, force: true });
    },
  };
}

function configuration(port: number, folder: string, extra: readonly string[]): string {
  return [
    `listener ${port} 127.0.0.1`,
    'allow_anonymous true',
    'persistence true',
    `persistence_location ${folder}/`,
    'autosave_interval 1',
    // 0, "no limit", drops everything in some releases (eclipse/mosquitto#2879)
    'max_queued_messages 1000000',
    'max_inflight_messages 0',
    'sys_interval 1',
    // started by root it would change to another user, which may not write here
    ...(process.getuid?.() === 0 ? ['user root'] : []),
    ...extra,
    '',
  ].join('\n');
}

async function answering(port: number, hasEnded: () => boolean, log: () => string): Promise<void> {
  for (let i = 0; i < 200 && !hasEnded(); i++) {
    const socket = connect(port, '127.0.0.1');
    const isUp = await Promise.race([
      once(socket, 'connect').then(() => true),
      once(socket, 'error').then(() => false),
    ]).catch(() => false);
    socket.destroy();
    if (isUp) return;
    await new Promise((r) => setTimeout(r, 50));
  }
  throw new Error(`Mosquitto did not come up on port ${port}:\n${log()}`);
}

export interface EmbeddedBroker {
  readonly port: number;
  readonly url: string;
  // biome-ignore lint/suspicious/noExplicitAny: the broker's events are used beyond its published types
  readonly aedes: any;
  stop(): Promise<void>;
}

/** aedes, MQTT 3.1.1 only, sessions in memory. */
export async function aedesBroker(options: Record<string, unknown> = {}): Promise<EmbeddedBroker> {
  const { Aedes } = await import('aedes');
  const aedes = await Aedes.createBroker(options);
  const server = createServer(aedes.handle).listen(0, '127.0.0.1');
  await once(server, 'listening');
  const { port } = server.address() as { port: number };
  return {
    port,
    url: `mqtt://127.0.0.1:${port}`,
    aedes,
    async stop() {
      await new Promise<void>((closed) => aedes.close(() => closed()));
      server.close();
    },
  };
}

/** A line between client and broker that can be listened to and cut. */
export interface Wire {
  readonly port: number;
  /** packet ids of the PUBACKs the client wrote, in order */
  readonly acks: number[];
  /** cuts every connection */
  cut(): void;
  /** cuts, and takes no connection any more */
  stop(): Promise<void>;
}

export async function wireTo(brokerPort: number): Promise<Wire> {
  const acks: number[] = [];
  const sockets = new Set<Socket>();
  const server: Server = createServer((client) => {
    const broker = connect(brokerPort, '127.0.0.1');
    const pairs: [Socket, Socket][] = [
      [client, broker],
      [broker, client],
    ];
    for (const [socket, other] of pairs) {
      sockets.add(socket);
      socket.on('error', () => other.destroy());
      socket.on('close', () => {
        sockets.delete(socket);
        other.end();
      });
    }
    const note = packetReader((type, body) => {
      if (type === 4) acks.push(body.readUInt16BE(0));
    });
    client.on('data', note);
    client.pipe(broker);
    broker.pipe(client);
  }).listen(0, '127.0.0.1');
  await once(server, 'listening');
  return {
    port: (server.address() as { port: number }).port,
    acks,
    cut: () => {
      for (const socket of sockets) socket.destroy();
    },
    async stop() {
      for (const socket of sockets) socket.destroy();
      server.close();
    },
  };
}

/** Splits a byte stream into MQTT control packets (MQTT 5.0 section 2.1): type and what follows the fixed header. */
function packetReader(seen: (type: number, body: Buffer) => void): (chunk: Buffer) => void {
  let rest = Buffer.alloc(0);
  return (chunk) => {
    rest = Buffer.concat([rest, chunk]);
    for (;;) {
      let length = 0;
      let used = 1;
      for (; used < rest.length; used++) {
        length += (rest[used]! & 127) * 128 ** (used - 1);
        if (rest[used]! < 128) break;
      }
      used++;
      if (rest.length < used || rest.length < used + length) return;
      seen(rest[0]! >> 4, rest.subarray(used, used + length));
      rest = rest.subarray(used + length);
    }
  };
}
