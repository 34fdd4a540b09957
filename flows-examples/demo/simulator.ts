/**
 * Publishes the story over MQTT as instruments would: QoS 1, one topic a terminal. First the whole story, then a quiet loop in which
 * the crews visit their sites again. A reference station reports ten times a second all the while.
 *
 *   tsx flows-examples/demo/simulator.ts [--url mqtt://127.0.0.1:1883] [--pace 1] [--seed 118] [--once] [--fast]
 */
import { setTimeout as sleep } from 'node:timers/promises';
import { parseArgs } from 'node:util';
import { connectAsync, type MqttClient } from 'mqtt';
import { INSTRUMENTS, measure, type Taking } from './measuring';
import { placeOf, REFERENCE, terminalOf } from './places';
import { type Chance, chance } from './random';
import { windowsAt } from './sampler';
import { type Step, stepsOf, story, VISITS } from './scenario';

export const TOPIC_ROOT = 'phaseloom-demo/readings';
export const SAMPLES_ROOT = 'phaseloom-demo/samples';

export interface Simulation {
  readonly url: string;
  /** how many times faster than the story is told; 1 when left out */
  readonly pace?: number;
  readonly seed?: number;
  /** stop after the story */
  readonly once?: boolean;
  readonly signal?: AbortSignal;
  /** what a bystander would see */
  readonly say?: (line: string) => void;
}

export const FAST_PACE = 20;
/** From the reading to its arrival: radio, gateway, broker. */
const ON_THE_WAY_MS = 250;
const REFERENCE_EVERY_MS = 100;
const SAMPLES_EVERY_MS = 5000;
/** The reference is on the air before the first crew. */
const LEAD_IN_MS = 1000;
const LOOP_PAUSE_S = 15;

/** Runs until the signal, or to the end of the story with `once`. */
export async function simulate(simulation: Simulation): Promise<void> {
  const { url, pace = 1, seed = 118, once = false, signal, say = () => {} } = simulation;
  const client = await connectAsync(url, { clientId: `phaseloom-demo-${process.pid}`, reconnectPeriod: 1000 });
  client.on('error', (error) => say(`broker: ${error.message}`));
  const field = new Field(client, chance(seed), signal ?? new AbortController().signal);
  const reference = field.startReference(chance(seed + 1));
  const sampler = field.startSampler(chance(seed + 2));
  try {
    await field.wait(LEAD_IN_MS);
    await tell(field, story(), pace, say);
    await field.wait(2 * ON_THE_WAY_MS);
    say('the story is told; the crews go on visiting their sites');
    if (!once) await revisit(field, pace, say);
  } catch (cause) {
    if (!signal?.aborted) throw cause;
  } finally {
    clearInterval(reference);
    clearInterval(sampler);
    await client.endAsync();
  }
}

/** Everything that is out there and sends. */
class Field {
  private readonly sequence = new Map<string, number>();

  constructor(
    private readonly client: MqttClient,
    private readonly chance: Chance,
    private readonly signal: AbortSignal,
  ) {}

  async wait(ms: number): Promise<void> {
    await sleep(ms, undefined, { signal: this.signal });
  }

  /** A station keeps its own time: what is due is stamped when it was due, however late this program gets to send it. */
  startReference(noise: Chance): NodeJS.Timeout {
    const taking: Taking = { against: 'utc', coupling: 'contact', by: 'reference station', job: 'reference' };
    let dueMs = Date.now();
    return setInterval(() => {
      for (const nowMs = Date.now(); dueMs <= nowMs; dueMs += REFERENCE_EVERY_MS) {
        const reading = measure(REFERENCE.place, 0, INSTRUMENTS.reference, taking, dueMs * 1000, noise);
        this.publish(REFERENCE.terminal, JSON.stringify(reading));
      }
    }, REFERENCE_EVERY_MS);
  }

  startSampler(noise: Chance): NodeJS.Timeout {
    const pulseUs = Math.floor(Date.now() / 1000 - 1) * 1e6;
    return setInterval(() => {
      for (const window of windowsAt(Date.now() * 1000, pulseUs, noise))
        this.send(`${SAMPLES_ROOT}/${window.terminal}`, JSON.stringify(window));
    }, SAMPLES_EVERY_MS);
  }

  do(step: Step): void {
    const terminal = terminalOf(placeOf.get(step.site)!, step.conductor);
    if (step.does === 'sends-nonsense') {
      this.publish(terminal, JSON.stringify({ terminal, takenAt: 'just now', angleDeg: 'leads a bit' }));
      return;
    }
    const payload = JSON.stringify(this.read(step));
    setTimeout(() => {
      this.publish(terminal, payload);
      if (step.does === 'reads-twice-sent') this.publish(terminal, payload);
    }, ON_THE_WAY_MS).unref();
  }

  private read(step: Step) {
    const { instrument, taking, conductor } = step;
    const sequence = (this.sequence.get(instrument.id) ?? 0) + 1;
    this.sequence.set(instrument.id, sequence);
    const place = placeOf.get(step.site)!;
    const reading = measure(place, conductor, instrument, taking, Date.now() * 1000, this.chance);
    return { ...reading, instrument: { ...(reading.instrument as object), sequence } };
  }

  private publish(terminal: string, payload: string): void {
    this.send(`${TOPIC_ROOT}/${terminal}`, payload);
  }

  private send(topic: string, payload: string): void {
    if (!this.client.disconnecting) this.client.publish(topic, payload, { qos: 1 });
  }
}

async function tell(field: Field, steps: readonly Step[], pace: number, say: (line: string) => void): Promise<void> {
  const startMs = performance.now();
  let job = '';
  for (const step of steps) {
    await field.wait(Math.max(0, startMs + (1000 * step.atS) / pace - performance.now()));
    if (step.taking.job !== job) say(`${step.taking.by} with ${step.instrument.id} at ${step.site}`);
    job = step.taking.job;
    field.do(step);
  }
}

async function revisit(field: Field, pace: number, say: (line: string) => void): Promise<void> {
  for (let n = VISITS.length; ; n++) {
    await field.wait((1000 * LOOP_PAUSE_S) / pace);
    await tell(field, stepsOf(VISITS[n % VISITS.length]!, 0, `visit ${n + 1}`).steps, pace, say);
  }
}

async function main(): Promise<void> {
  const { values } = parseArgs({
    options: {
      url: { type: 'string', default: process.env.MQTT_URL ?? 'mqtt://127.0.0.1:1883' },
      pace: { type: 'string', default: '1' },
      seed: { type: 'string', default: '118' },
      once: { type: 'boolean', default: false },
      fast: { type: 'boolean', default: false },
    },
  });
  const pace = values.fast ? FAST_PACE : Number(values.pace);
  if (!(pace > 0)) throw new RangeError(`--pace must be a number above 0, got ${values.pace}`);
  const stop = new AbortController();
  process.once('SIGINT', () => stop.abort());
  const { url, once } = values;
  await simulate({ url, pace, seed: Number(values.seed), once, signal: stop.signal, say: console.log });
}

if (require.main === module) void main();
