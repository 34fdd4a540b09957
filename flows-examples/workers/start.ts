/**
 * `npm run workers`: two Node-RED workers with one flow on this machine. MQTT_URL and DATABASE_URL name a broker (MQTT 5) and a database;
 * what is not named is started here. Kill one worker and see the other take over.
 */
import { type ChildProcess, spawn } from 'node:child_process';
import { copyFileSync, mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import pg from 'pg';
import { prepareUserDir, ROOT } from '../demo/embedded';
import { simulate } from '../demo/simulator';
import { ended, freePort, type Server, startMosquitto, startPostgres } from './servers';

const FOLDER = join(ROOT, '.workers');
const COUNTS_EVERY_MS = 10_000;

interface Worker {
  readonly name: string;
  readonly url: string;
  readonly process: ChildProcess;
}

async function main(): Promise<void> {
  const stop = new AbortController();
  for (const signal of ['SIGINT', 'SIGTERM'] as const) process.once(signal, () => stop.abort());
  const seconds = Number(process.env.PHASELOOM_WORKERS_SECONDS ?? 0);
  if (seconds > 0) setTimeout(() => stop.abort(), seconds * 1000).unref();
  const started: Server[] = [];
  const given = async (url: string | undefined, start: () => Promise<Server>) => {
    if (url) return url;
    const server = await start();
    started.push(server);
    return server.url;
  };
  const database = await given(process.env.DATABASE_URL, async () =>
    startPostgres(join(FOLDER, 'postgres'), await freePort(15_432)),
  );
  const broker = await given(process.env.MQTT_URL, async () =>
    startMosquitto(join(FOLDER, 'mosquitto'), await freePort(18_840)),
  );
  const workers: Worker[] = [];
  try {
    for (const name of ['one', 'two']) workers.push(await startWorker(name, broker, database));
    whereToLook(workers, broker, database);
    const counting = setInterval(() => void tellCounts(database), COUNTS_EVERY_MS);
    await simulate({ url: broker, signal: stop.signal, say: (line) => console.log(`* ${line}`) });
    clearInterval(counting);
    await tellCounts(database);
  } finally {
    await Promise.all(workers.map((w) => ended(w.process, 'SIGTERM')));
    for (const server of started) await server.stop();
  }
}

async function startWorker(name: string, broker: string, database: string): Promise<Worker> {
  const userDir = join(FOLDER, name);
  mkdirSync(userDir, { recursive: true });
  prepareUserDir(userDir);
  copyFileSync(join(__dirname, 'workers.flow.json'), join(userDir, 'flows.json'));
  const connection = '$' + '{PHASELOOM_DATABASE}';
  writeFileSync(join(userDir, 'flows_cred.json'), JSON.stringify({ 'workers-ledger': { connection } }));
  const port = await freePort(1881);
  const env = { ...process.env, PHASELOOM_WORKER: name, PHASELOOM_MQTT: broker, PHASELOOM_DATABASE: database };
  const red = join(ROOT, 'node_modules/node-red/red.js');
  const args = [red, '-u', userDir, '-p', String(port), '-D', 'uiHost=127.0.0.1'];
  const child = spawn(process.execPath, args, { env, stdio: ['ignore', 'pipe', 'inherit'], detached: true });
  await new Promise<void>((up, failed) => {
    child.once('exit', (code) => failed(new Error(`worker ${name} ended with ${code}`)));
    child.stdout!.on('data', (text) => String(text).includes('Started flows') && up());
  });
  return { name, url: `http://127.0.0.1:${port}`, process: child };
}

function whereToLook(workers: readonly Worker[], broker: string, database: string): void {
  const lines = workers.map(
    (w) => `  worker ${w.name}   ${w.url}/phaseloom/   editor ${w.url}/   kill -9 ${w.process.pid}`,
  );
  const { host, pathname } = new URL(database);
  console.log(
    ['', 'Two workers, one broker, one ledger. Readings are of an invented feeder.', '', ...lines].join('\n'),
    `\n  broker       ${broker.replace(/\/\/[^@/]*@/, '//')}   shared subscription $share/workers/phaseloom-demo/readings/#`,
    `\n  database     ${host}${pathname}, schema phaseloom; who holds what: select holder, count(*) from phaseloom.claim group by 1`,
    '\n  stop         Ctrl-C\n',
  );
}

async function tellCounts(connectionString: string): Promise<void> {
  const client = new pg.Client({ connectionString });
  try {
    await client.connect();
    const ask = async (text: string) => (await client.query(text)).rows;
    const tally = await ask('select name, amount from phaseloom.tally order by name');
    const held = await ask(
      `select split_part(holder, ':', 1) as worker, count(*) as lanes from phaseloom.claim where scope ~ '^door:.*/[0-9]+$'
       and until_us > extract(epoch from clock_timestamp()) * 1e6 group by 1 order by 1`,
    );
    const counts = tally.map((t) => `${t.amount} ${t.name}s`).join(', ');
    console.log(`  ${counts}; lanes: ${held.map((h) => `${h.worker} ${h.lanes}`).join(', ')}`);
  } catch (cause) {
    console.log(`  the database does not answer: ${(cause as Error).message}`);
  } finally {
    await client.end().catch(() => undefined);
  }
}

main().then(
  () => process.exit(0),
  async (cause) => {
    console.error((cause as Error).message);
    await sleep(100);
    process.exit(1);
  },
);
