/** Our own connection options, made from what the integrator entered in core's mqtt-broker config node. */

import { createHash } from 'node:crypto';
import type { IClientOptions } from 'mqtt';

/** What we read of core's mqtt-broker node: what it makes of its own settings, credentials and TLS node. Never its client. */
export interface CoreBroker {
  readonly brokerurl: string;
  readonly options: IClientOptions;
}

export interface SessionSettings {
  readonly clientId: string;
  readonly filters: readonly string[];
  /** messages the broker may have on their way to us unacknowledged (MQTT 5 Receive Maximum) */
  readonly window: number;
  /** how long the broker keeps the session while we are away, seconds (MQTT 5) */
  readonly sessionExpiryS: number;
}

/** Parking holds up PINGRESP as well, so the connection must bear a pause. */
const LEAST_KEEPALIVE_S = 60;

export function connectionOptions(broker: CoreBroker, session: SessionSettings): IClientOptions {
  const { will: _will, properties: theirs, ...given } = broker.options;
  const isV5 = given.protocolVersion === 5;
  const properties = {
    sessionExpiryInterval: session.sessionExpiryS,
    receiveMaximum: session.window,
    requestProblemInformation: true,
    ...(theirs?.userProperties ? { userProperties: theirs.userProperties } : {}),
  };
  return {
    ...given,
    clientId: session.clientId,
    clean: false,
    keepalive: Math.max(LEAST_KEEPALIVE_S, given.keepalive ?? 0),
    reconnectPeriod: 0,
    resubscribe: false,
    ...(isV5 ? { properties } : {}),
  };
}

/** Tells brokers apart without writing their address, which may hold a password, anywhere. */
export const brokerMark = (broker: CoreBroker): string =>
  createHash('sha256')
    .update(`${broker.brokerurl} ${broker.options.username ?? ''}`)
    .digest('hex')
    .slice(0, 16);
