/** `npm start`: the whole job on an invented feeder. Broker, Node-RED with the pack, the story, and where to look. */
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { join, relative } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import type { Ledger, LedgerNode } from '../../nodes/ledger/ledger';
import { type NodeRed, prepareUserDir, startBroker, startHttp, startNodeRed } from './embedded';
import { Narrator } from './narrator';
import { FAST_PACE, simulate } from './simulator';
import { startStation } from './station';
import { LEDGER_FILE, summary, USER_DIR } from './summary';

const FLOW = join(__dirname, 'demo.flow.json');
const BROKER_PORT = 18_830;
const HTTP_PORT = 1880;
const PMU_PORT = 14_712;
/** The unit comes on the air when the reference reports: what it would send before could be held against nothing of its instant. */
const AFTER_REFERENCE_MS = 1500;
const COUNTS_EVERY_MS = 10_000;
/** Ids in the demo flow. */
const READINGS_IN = 'demo-readings-in';
const LEDGER = 'demo-ledger';

const say = (line: string) => console.log(line);

async function main(): Promise<void> {
  const stop = new AbortController();
  for (const signal of ['SIGINT', 'SIGTERM'] as const) process.once(signal, () => stop.abort());
  const seconds = Number(process.env.PHASELOOM_DEMO_SECONDS ?? 0);

  const broker = process.env.MQTT_URL ? undefined : await startBroker(BROKER_PORT);
  const brokerUrl = broker?.url ?? process.env.MQTT_URL!;
  const http = await startHttp(Number(process.env.PORT ?? HTTP_PORT));
  const station = await startStation(PMU_PORT);
  prepareUserDir(USER_DIR);
  writeFlow(brokerUrl, http.url, station.port);
  const red = await startNodeRed(USER_DIR, http);
  whereToLook(http.url, brokerUrl, station.port);
  const stopTelling = tellWhatComesIn(red);

  const pace = process.argv.includes('--fast') ? FAST_PACE : Number(process.env.PHASELOOM_DEMO_PACE ?? 1);
  await untilSubscribed(red, stop.signal);
  if (seconds > 0) setTimeout(() => stop.abort(), seconds * 1000).unref();
  setTimeout(() => station.begin(), AFTER_REFERENCE_MS).unref();
  await simulate({ url: brokerUrl, pace, signal: stop.signal, say: (line) => say(`* ${line}`) });

  stopTelling();
  const ledger = ledgerOf(red);
  if (seconds > 0 && ledger) say(['', ...(await summary(ledger))].join('\n'));
  await red.stop();
  station.stop();
  await broker?.stop();
}

/** The demo flow, unless there is one already: what somebody changed in the editor stays. Addresses change from run to run and come by environment. */
function writeFlow(brokerUrl: string, httpUrl: string, pmuPort: number): void {
  process.env.PHASELOOM_DEMO_BROKER = brokerUrl;
  process.env.PHASELOOM_DEMO_PMU = String(pmuPort);
  process.env.PHASELOOM_DEMO_OUTSIDE = `${httpUrl}/outside-system`;
  const file = join(USER_DIR, 'flows.json');
  if (existsSync(file)) return;
  const flow = readFileSync(FLOW, 'utf8')
    .replaceAll('mqtt://127.0.0.1:18830', '$' + '{PHASELOOM_DEMO_BROKER}')
    .replace(`"port": "${PMU_PORT}"`, '"port": "$' + '{PHASELOOM_DEMO_PMU}"')
    .replaceAll('http://127.0.0.1:1880/outside-system', '$' + '{PHASELOOM_DEMO_OUTSIDE}');
  writeFileSync(file, flow);
}

/** A reading published before anybody has subscribed reaches nobody. */
async function untilSubscribed({ statuses }: NodeRed, signal: AbortSignal): Promise<void> {
  while (statuses.get(READINGS_IN)?.shape !== 'dot' && !signal.aborted) await sleep(100);
}

function whereToLook(httpUrl: string, brokerUrl: string, pmuPort: number): void {
  say(
    [
      '',
      'Phaseloom demo: Quillmere, feeders F3 and F7. Everything is invented but the electricity (IEEE 13-node test feeder).',
      '',
      `  board           ${httpUrl}/phaseloom/`,
      `  editor          ${httpUrl}/`,
      `  records         ${httpUrl}/records?kind=identification   (comparison, rotation, trace, plan, alert, rejection, reading)`,
      `  outside system  ${httpUrl}/outside-system   what it was handed`,
      `  broker          ${brokerUrl}   phaseloom-demo/readings/#, phaseloom-demo/samples/#`,
      `  synchrophasors  tcp://127.0.0.1:${pmuPort}   IEEE C37.118.2, IDCODE 101`,
      `  ledger          ${relative(process.cwd(), LEDGER_FILE)}   (delete the folder to begin anew)`,
      '  summary         npm run -s demo:summary   in another terminal',
      '  stop            Ctrl-C',
      '',
    ].join('\n'),
  );
}

const ledgerOf = ({ RED }: NodeRed): Ledger | undefined => (RED.nodes.getNode(LEDGER) as LedgerNode | null)?.ledger;

/** Findings of note as they are committed, and the counts now and then. A deployment from the editor brings another ledger node. */
function tellWhatComesIn(red: NodeRed): () => void {
  const narrator = new Narrator(say);
  let heard: Ledger | undefined;
  const look = async () => {
    const ledger = ledgerOf(red);
    if (!ledger || ledger === heard) return;
    heard = ledger;
    ledger.onCommit((records) => narrator.hear(records));
  };
  const looking = setInterval(look, 200);
  const counting = setInterval(async () => say(counts(heard && (await heard.health()))), COUNTS_EVERY_MS);
  return () => {
    clearInterval(looking);
    clearInterval(counting);
  };
}

function counts(health: Awaited<ReturnType<Ledger['health']>> | undefined): string {
  if (!health?.ok) return `  the ledger is not open${health ? `: ${health.error}` : ''}`;
  const { readings, findings, rejections, alertsOpen, deliveriesWaiting } = health;
  return `  ${readings} readings, ${findings} findings, ${rejections} rejected, ${alertsOpen} alerts open, ${deliveriesWaiting} deliveries waiting`;
}

main().catch((cause) => {
  console.error(cause);
  process.exit(1);
});
