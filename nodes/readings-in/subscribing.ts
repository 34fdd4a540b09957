/** Brings the subscriptions of a session to what is wanted. */
import type { ISubscriptionGrant, MqttClient } from 'mqtt';
import { Trouble } from '../kit/trouble';

/** MQTT 5 retain handling: retained messages only for a subscription that was not there yet. */
const ONLY_IF_NEW = 1;

/**
 * `present`: what the session the broker kept is subscribed to, as far as we know.
 * Rejects when the broker grants nothing; a filter refused beside others, or granted at QoS 0, is told through `warn`.
 */
export async function subscribe(
  client: MqttClient,
  wanted: readonly string[],
  present: readonly string[] | undefined,
  warn: (code: string, text: string) => void,
): Promise<void> {
  const stale = (present ?? []).filter((filter) => !wanted.includes(filter));
  if (stale.length > 0) client.unsubscribe([...stale]);
  const isV5 = client.options.protocolVersion === 5;
  // Subscribing again makes an MQTT 3.1.1 broker send every retained message again.
  const missing = present && !isV5 ? wanted.filter((filter) => !present.includes(filter)) : wanted;
  if (missing.length === 0) return;
  const granted = await grants(client, missing, isV5);
  const refused = granted.filter(({ qos }) => qos >= 128).map(({ topic }) => topic);
  if (refused.length === granted.length)
    throw new Trouble('subscribe-refused', `the broker refuses the subscription to ${refused.join(', ')}`);
  if (refused.length > 0) warn('subscribe-refused', `the broker refuses the subscription to ${refused.join(', ')}`);
  const unsafe = granted.filter(({ qos }) => qos === 0).map(({ topic }) => topic);
  if (unsafe.length > 0)
    warn('qos-lowered', `the broker delivers ${unsafe.join(', ')} at QoS 0 only: messages may be lost`);
}

function grants(client: MqttClient, filters: readonly string[], isV5: boolean): Promise<ISubscriptionGrant[]> {
  return new Promise((resolve, reject) => {
    client.subscribe(
      [...filters],
      { qos: 1, ...(isV5 ? { rh: ONLY_IF_NEW } : {}) },
      (error, _subscriptions, suback) => {
        if (!suback) return reject(error ?? new Error('the broker did not answer the subscription'));
        resolve(filters.map((topic, i) => ({ topic, qos: suback.granted[i] as ISubscriptionGrant['qos'] })));
      },
    );
  });
}
