/** Messages of Sparkplug B become readings: decoded by the package sparkplug-payload, which only this setting needs. */
import { LRUCache } from 'lru-cache';
import {
  SparkplugHost,
  type SparkplugPayload,
  type SparkplugTopic,
  type SparkplugValue,
  sparkplugReadings,
  sparkplugTopic,
} from '../../lib/sparkplug';
import { Trouble } from '../kit/trouble';
import type { Arrival, Taken } from './arrival';
import { type IntakeRules, oversize, refused, take, takeValue } from './intake';
import type { Mapping } from './mapping';

/** What we use of sparkplug-payload. 64-bit numbers come as objects with toNumber(). */
interface Codec {
  decodePayload(bytes: Uint8Array): WirePayload;
  encodePayload(payload: object): Uint8Array;
}
type Wide = number | { toNumber(): number } | null | undefined;
interface WirePayload {
  timestamp?: Wide;
  seq?: Wide;
  metrics?: { name?: string | null; alias?: Wide; timestamp?: Wide; value?: unknown; isNull?: boolean | null }[] | null;
}

export interface SparkplugListener {
  /** an edge node or device has gone offline: what it said last may no longer hold */
  died(source: string): void;
  /** publishes a request for a new birth */
  publish(topic: string, bytes: Buffer): void;
}

/** A request for a new birth is sent to one edge node this often at most. */
const REBIRTH_EVERY_MS = 10_000;
/** Edge nodes of which it is known when they were asked; the one asked longest ago is forgotten first. */
const MOST_ASKED = 10_000;

export class SparkplugDoor {
  private readonly host = new SparkplugHost();
  private readonly askedAtMs = new LRUCache<string, number>({ max: MOST_ASKED });

  private constructor(
    private readonly codec: Codec,
    private readonly mapping: Mapping | undefined,
    private readonly listener: SparkplugListener,
  ) {}

  /** @throws Trouble 'config' when the package is not installed */
  static open(mapping: Mapping | undefined, listener: SparkplugListener): SparkplugDoor {
    return new SparkplugDoor(codec(), mapping, listener);
  }

  get stale(): number {
    return this.host.stale;
  }

  /** What the message holds. One whose topic is not of Sparkplug is taken as JSON. Messages must be taken in the order they came. */
  async take(arrival: Arrival, rules: IntakeRules): Promise<Taken> {
    const topic = sparkplugTopic(arrival.topic);
    if (!topic) return this.other(arrival, rules);
    const large = oversize(arrival, rules);
    if (large) return large;
    let payload: SparkplugPayload;
    try {
      payload = plain(this.codec.decodePayload(arrival.bytes));
    } catch (cause) {
      const what = `no payload of Sparkplug B: ${(cause as Error).message}`.slice(0, 1000);
      return refused(arrival, {
        at: '',
        code: 'sparkplug-unreadable',
        what,
        expected: 'a Sparkplug B payload (protobuf)',
      });
    }
    return this.step(arrival, rules, topic, payload);
  }

  private other(arrival: Arrival, rules: IntakeRules): Taken | Promise<Taken> {
    if (arrival.topic.startsWith('spBv1.0/')) return EMPTY;
    return this.mapping ? this.mapping(arrival, rules) : take(arrival, rules);
  }

  private step(
    arrival: Arrival,
    rules: IntakeRules,
    topic: SparkplugTopic,
    payload: SparkplugPayload,
  ): Taken | Promise<Taken> {
    const step = this.host.take(topic, payload);
    if (step.is === 'problem') {
      if (step.rebirth) this.askForBirth(topic);
      return refused(arrival, step.problem);
    }
    if (step.is === 'death') this.listener.died(step.source);
    if (step.is !== 'values') return EMPTY;
    const { metrics, known, isBirth } = step;
    if (this.mapping) {
      const value = {
        ...topic,
        timestampMs: payload.timestampMs,
        seq: payload.seq,
        metrics,
        known: Object.fromEntries(known),
      };
      return this.mapping({ ...arrival, bytes: Buffer.from(JSON.stringify(value)) }, rules);
    }
    const own = [topic.group, topic.edge, topic.device].filter((part) => part !== undefined).join('/');
    return takeValue(arrival, sparkplugReadings(metrics, known, own, isBirth), rules);
  }

  private askForBirth({ group, edge }: SparkplugTopic): void {
    const topic = `spBv1.0/${group}/NCMD/${edge}`;
    const nowMs = Date.now();
    if (nowMs - (this.askedAtMs.get(topic) ?? 0) < REBIRTH_EVERY_MS) return;
    this.askedAtMs.set(topic, nowMs);
    const metrics = [{ name: 'Node Control/Rebirth', type: 'Boolean', value: true, timestamp: nowMs }];
    this.listener.publish(topic, Buffer.from(this.codec.encodePayload({ timestamp: nowMs, metrics })));
  }
}

const EMPTY: Taken = { readings: [], texts: [], rejection: undefined };

function codec(): Codec {
  try {
    return require('sparkplug-payload').get('spBv1.0');
  } catch {
    const what =
      'payloads of Sparkplug B need the package sparkplug-payload; install it in the user directory of Node-RED';
    throw new Trouble('config', `${what}: npm install sparkplug-payload`);
  }
}

function plain({ timestamp, seq, metrics }: WirePayload): SparkplugPayload {
  return {
    ...numbered('timestampMs', timestamp),
    ...numbered('seq', seq),
    metrics: (metrics ?? []).map((m) => ({
      ...(m.name ? { name: m.name } : {}),
      ...numbered('alias', m.alias),
      ...numbered('timestampMs', m.timestamp),
      value: m.isNull ? null : plainValue(m.value),
    })),
  };
}

function numbered<K extends string>(key: K, value: Wide): { [k in K]?: number } {
  const n = typeof value === 'object' && value !== null ? value.toNumber() : value;
  return (typeof n === 'number' ? { [key]: n } : {}) as { [k in K]?: number };
}

/** Values of other types than numbers, texts and truth values are none of a reading. */
function plainValue(value: unknown): SparkplugValue {
  if (typeof value === 'number' || typeof value === 'string' || typeof value === 'boolean') return value;
  const wide = value as { toNumber?: () => number } | null | undefined;
  return typeof wide?.toNumber === 'function' ? wide.toNumber() : null;
}
