/** A PostgreSQL cluster of its own for a test, on a free port, in a folder that goes with it. */
import { type ChildProcess, execFileSync, spawn } from 'node:child_process';
import { once } from 'node:events';
import { chownSync, mkdtempSync, readdirSync, rmSync } from 'node:fs';
import { createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import pg from 'pg';

export interface PostgresServer {
  readonly port: number;
  readonly connection: string;
  sql(text: string): Promise<unknown[]>;
  /** fast: clients are turned out; immediate: as in a crash, what was committed is recovered (manual, "Shutting Down the Server") */
  halt(how: 'fast' | 'immediate'): Promise<void>;
  /** again on the same port, with what it holds */
  start(): Promise<void>;
  stop(): Promise<void>;
}

/** Sorts by the rules of a language (ICU), as many installations do: the ledger must not depend on that. */
export async function startPostgres(fsync: 'on' | 'off' = 'off'): Promise<PostgresServer> {
  const folder = mkdtempSync(join(tmpdir(), 'phaseloom-postgres-'));
  const user = serverUser();
  if (user) chownSync(folder, user.uid, user.gid);
  const data = join(folder, 'data');
  const own = { ...user, cwd: folder };
  execFileSync(
    program('initdb'),
    [
      '-D',
      data,
      '-U',
      'tester',
      '-A',
      'trust',
      '-N',
      '-E',
      'UTF8',
      '--locale=C.UTF-8',
      '--locale-provider=icu',
      '--icu-locale=en',
    ],
    { ...own, stdio: 'pipe' },
  );
  const port = await freePort();
  const settings = [`fsync=${fsync}`, 'listen_addresses=127.0.0.1', `unix_socket_directories=${folder}`];
  const connection = `postgresql://tester@127.0.0.1:${port}/postgres`;
  let server: ChildProcess | undefined;
  const start = async () => {
    const words = ['-D', data, '-p', String(port), ...settings.flatMap((s) => ['-c', s])];
    server = spawn(program('postgres'), words, { ...own, stdio: 'ignore' });
    await answers(connection, server);
  };
  const halt = async (how: 'fast' | 'immediate') => {
    if (!server || server.exitCode !== null) return;
    const ended = once(server, 'exit');
    server.kill(how === 'fast' ? 'SIGINT' : 'SIGQUIT');
    await ended;
  };
  await start();
  const admin = new pg.Pool({ connectionString: connection, max: 1 });
  admin.on('error', () => {});
  return {
    port,
    connection,
    sql: async (text) => (await admin.query(text)).rows,
    halt,
    start,
    async stop() {
      await admin.end();
      await halt('fast');
      rmSync(folder, { recursive: true, force: true });
    },
  };
}

/** The server does not run as root. */
function serverUser(): { uid: number; gid: number } | undefined {
  if (process.getuid?.() !== 0) return undefined;
  const id = (what: string) => Number(execFileSync('id', [what, 'postgres'], { encoding: 'utf8' }));
  return { uid: id('-u'), gid: id('-g') };
}

export function program(name: string): string {
  const versions = readdirSync('/usr/lib/postgresql').sort((a, b) => Number(b) - Number(a));
  return join('/usr/lib/postgresql', versions[0]!, 'bin', name);
}

async function freePort(): Promise<number> {
  const probe = createServer().listen(0, '127.0.0.1');
  await once(probe, 'listening');
  const { port } = probe.address() as { port: number };
  probe.close();
  await once(probe, 'close');
  return port;
}

async function answers(connectionString: string, server: ChildProcess): Promise<void> {
  for (let i = 0; i < 300 && server.exitCode === null; i++) {
    const client = new pg.Client({ connectionString });
    client.on('error', () => {});
    try {
      await client.connect();
      return await client.end();
    } catch {
      await new Promise((resolve) => setTimeout(resolve, 100));
    }
  }
  throw new Error('PostgreSQL did not start');
}
