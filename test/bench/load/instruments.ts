/**
 * A process of its own: instruments that publish at the moments they intend to, whatever the other side does (an open loop), and the
 * outside party that receives the alerts. A delay is counted from the intended moment, so that waiting in line anywhere, here too, is
 * part of it (Gil Tene calls leaving that out "coordinated omission").
 */
import { setTimeout as sleep } from 'node:timers/promises';
import { connectAsync, type MqttClient } from 'mqtt';
import { formatInstant } from '../../../lib/instant';
import { ANGLES_DEG, surpriseId, terminalId } from './feeder';

export interface Orders {
  readonly url: string;
  readonly topic: string;
  readonly perS: number;
  readonly seconds: number;
  /** sites that are gone round, again and again */
  readonly sites: number;
  /** one of so many readings is at a place that was not read before, and makes an alert; 0: none */
  readonly surpriseEvery: number;
  /** one of so many other readings is 120 degrees off, so that alerts come and go at the same places; 0: none */
  readonly strayEvery: number;
}

export interface Returns {
  readonly published: number;
  readonly surprises: number;
  /** from the intended moment of a reading to its alert at the outside party, milliseconds, with that moment in seconds from the start */
  readonly delays: readonly (readonly [atS: number, ms: number])[];
  /** how late the readings were handed to the client, milliseconds: this side's own share */
  readonly lateMs: readonly number[];
}

const LATE_SAMPLES_EVERY = 20;
const PATIENCE_MS = 120_000;
const nowMs = () => performance.timeOrigin + performance.now();

/** Reading n, taken when it is meant to be published. Stray places are spread by a multiplier that shares no factor with what it goes through. */
function reading(n: number, atMs: number, orders: Orders, surprise: number | undefined): object {
  const site = Math.floor(n / 3) % orders.sites;
  const conductor = n % 3;
  const isStray = orders.strayEvery > 0 && (n * 7919) % orders.strayEvery === 0;
  const trueDeg = ANGLES_DEG[(conductor + (isStray ? 1 : 0)) % 3]!;
  return {
    kind: 'reading',
    terminal: surprise === undefined ? terminalId(site, conductor) : surpriseId(surprise),
    takenAt: formatInstant(Math.round(atMs * 1000)),
    angleDeg: surprise === undefined ? trueDeg + ((n * 7) % 5) - 2 : ANGLES_DEG[1],
    against: 'SUB',
    sigmaDeg: 0.8,
    clock: { source: 'gnss', errorUs: 1.2, locked: true },
    instrument: { id: `P-${site % 20}`, selfTest: 'pass' },
  };
}

async function run(orders: Orders, tell: (soFar: number) => void): Promise<Returns> {
  const client = await connectAsync(orders.url, { clientId: `instruments-${orders.topic}` });
  const intendedMs = new Map<string, number>();
  const delays: [number, number][] = [];
  const beganMs = nowMs() + 500;
  client.on('message', (_topic, bytes) => {
    const arrivedMs = nowMs();
    const { subject } = JSON.parse(bytes.toString());
    const atMs = intendedMs.get(subject);
    // Of an alert, only the first message: that it was raised.
    if (atMs === undefined || !intendedMs.delete(subject)) return;
    delays.push([(atMs - beganMs) / 1000, arrivedMs - atMs]);
  });
  await client.subscribeAsync(`${orders.topic}-alerts`, { qos: 1 });
  const lateMs = await publish(client, orders, beganMs, intendedMs, tell);
  for (const deadline = nowMs() + PATIENCE_MS; intendedMs.size > 0 && nowMs() < deadline; ) await sleep(20);
  const surprises = delays.length + intendedMs.size;
  await client.endAsync();
  return { published: orders.perS * orders.seconds, surprises, delays, lateMs };
}

async function publish(
  client: MqttClient,
  orders: Orders,
  beganMs: number,
  intendedMs: Map<string, number>,
  tell: (soFar: number) => void,
): Promise<number[]> {
  const { perS, seconds, surpriseEvery, topic } = orders;
  const lateMs: number[] = [];
  let unacknowledged = 0;
  let surprises = 0;
  for (let n = 0; n < perS * seconds; ) {
    const due = Math.min(perS * seconds, Math.floor(((nowMs() - beganMs) * perS) / 1000) + 1);
    for (; n < due; n++) {
      const atMs = beganMs + (n * 1000) / perS;
      const surprise = surpriseEvery > 0 && n % surpriseEvery === surpriseEvery - 1 ? surprises++ : undefined;
      const body = JSON.stringify(reading(n, atMs, orders, surprise));
      if (surprise !== undefined) intendedMs.set(surpriseId(surprise), atMs);
      if (n % LATE_SAMPLES_EVERY === 0) lateMs.push(nowMs() - atMs);
      unacknowledged++;
      client.publish(`${topic}/P-${n % 20}`, body, { qos: 1 }, () => unacknowledged--);
    }
    tell(n);
    await sleep(1);
  }
  while (unacknowledged > 0) await sleep(20);
  return lateMs;
}

process.once('message', (orders: Orders) => {
  let toldMs = 0;
  const tell = (published: number) => {
    if (nowMs() - toldMs < 1000) return;
    toldMs = nowMs();
    process.send!({ published });
  };
  run(orders, tell).then(
    (returns) => process.send!({ returns }, () => process.exit(0)),
    (cause) => {
      console.error(cause);
      process.exit(1);
    },
  );
});
