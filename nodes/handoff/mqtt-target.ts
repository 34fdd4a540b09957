/** A topic on a broker: QoS 1, accepted when the broker acknowledges. Our own client with the options of core's mqtt-broker node. */
import mqtt, { type IClientOptions, type MqttClient } from 'mqtt';
import type { PhaseloomRecord } from '../../lib/records';
import type { DueDelivery } from '../ledger/ledger';
import { CLOUD_EVENT_TYPE, cloudEvent } from './cloud-event';
import type { Answer, Target } from './target';

export interface MqttSettings {
  readonly brokerurl: string;
  readonly options: IClientOptions;
  readonly clientId: string;
  /** {kind} and {subject} are filled in */
  readonly topic: string;
  readonly source: string;
  readonly timeoutMs: number;
}

export function mqttTarget(settings: MqttSettings): Target {
  const { will: _will, ...given } = settings.options;
  const client = mqtt.connect(settings.brokerurl, {
    ...given,
    clientId: settings.clientId,
    clean: true,
    reconnectPeriod: 2000,
    queueQoSZero: false,
  });
  // Told by each offer while the broker is away.
  client.on('error', () => undefined);
  return {
    label: settings.topic,
    offer: (delivery) => offer(client, settings, delivery),
    close: async () => {
      await client.endAsync(true);
    },
  };
}

async function offer(client: MqttClient, settings: MqttSettings, delivery: DueDelivery): Promise<Answer> {
  if (!client.connected) return { kind: 'later', why: 'the broker is not connected' };
  const body = JSON.stringify(cloudEvent(delivery.record, settings.source, delivery.subject));
  const isV5 = settings.options.protocolVersion === 5;
  const properties = { contentType: CLOUD_EVENT_TYPE, userProperties: { 'idempotency-key': delivery.key } };
  try {
    const published = client.publishAsync(topicOf(settings.topic, delivery.record, delivery.subject), body, {
      qos: 1,
      ...(isV5 ? { properties } : {}),
    });
    published.catch(() => undefined);
    await within(published, settings.timeoutMs);
    return { kind: 'accepted', status: 'acknowledged' };
  } catch (cause) {
    return { kind: 'later', why: (cause as Error).message };
  }
}

/** Wildcards and NUL may not stand in a topic. */
export function topicOf(template: string, record: PhaseloomRecord, subject: string): string {
  // Functions: in a text, $ and what follows it would be read as a pattern.
  return template.replaceAll('{kind}', () => plain(record.kind)).replaceAll('{subject}', () => plain(subject));
}

const plain = (text: string): string => text.replace(/[#+\0]/g, '_');

function within<T>(promise: Promise<T>, ms: number): Promise<T> {
  let timer: NodeJS.Timeout;
  const late = new Promise<never>((_, fail) => {
    timer = setTimeout(() => fail(new Error(`not acknowledged within ${ms} ms`)), ms);
  });
  return Promise.race([promise, late]).finally(() => clearTimeout(timer));
}
