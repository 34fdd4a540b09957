/** A way to a PostgreSQL server that breaks at a commit: before the server hears of it, or after it has answered. */
import { once } from 'node:events';
import { connect, createServer, type Socket } from 'node:net';

export interface CuttingProxy {
  readonly port: number;
  /** at the next commit, once */
  cutAt(moment: 'before-the-server-hears' | 'before-the-answer-comes' | 'never'): void;
  /** how often it has cut */
  readonly cuts: number;
  close(): Promise<void>;
}

/** A simple query of the PostgreSQL protocol, version 3: 'Q', length, text, zero ("Message Formats" in the manual). */
const COMMIT = Buffer.from('Q\0\0\0\x0bcommit\0', 'latin1');

export async function cuttingProxy(serverPort: number): Promise<CuttingProxy> {
  let moment: Parameters<CuttingProxy['cutAt']>[0] = 'never';
  let cuts = 0;
  const sockets = new Set<Socket>();
  const proxy = createServer((client) => {
    const server = connect(serverPort, '127.0.0.1');
    let isDeaf = false;
    const cut = () => {
      cuts++;
      moment = 'never';
      client.destroy();
      server.destroy();
    };
    for (const socket of [client, server]) {
      sockets.add(socket);
      socket.on('error', () => {});
      socket.on('close', () => [client, server].forEach((s) => void s.destroy()));
    }
    client.on('data', (bytes) => {
      if (moment !== 'never' && bytes.includes(COMMIT)) {
        if (moment === 'before-the-server-hears') return cut();
        isDeaf = true;
      }
      server.write(bytes);
    });
    server.on('data', (bytes) => (isDeaf ? cut() : client.write(bytes)));
  }).listen(0, '127.0.0.1');
  await once(proxy, 'listening');
  return {
    port: (proxy.address() as { port: number }).port,
    cutAt(at) {
      moment = at;
    },
    get cuts() {
      return cuts;
    },
    async close() {
      for (const socket of sockets) socket.destroy();
      proxy.close();
      await once(proxy, 'close');
    },
  };
}
