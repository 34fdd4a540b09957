/** Letting the broker forget a session. */
import type { IClientOptions } from 'mqtt';
import { Connection } from './connection';

/** MQTT 3.1.1 ends a session only by a connection that asks for a clean one. */
export async function endSession3(url: string, options: IClientOptions): Promise<void> {
  await new Promise<void>((resolve) => {
    const connection: Connection = new Connection(
      url,
      { ...options, clean: true },
      {
        connected: () => void connection.end().then(resolve),
        arrived: () => true,
        overstayed: () => undefined,
        closed: () => resolve(),
      },
    );
    setTimeout(() => connection.end().then(resolve), 4000).unref();
  });
}
