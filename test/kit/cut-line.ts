/** A line that can be cut without a word, as sleep or a forgetful proxy does: it stays open and nothing passes any more. New lines pass. */
import { once } from 'node:events';
import { connect, createServer, type Socket } from 'node:net';

export interface CutLine {
  readonly port: number;
  /** every connection there is now falls silent */
  silence(): void;
  close(): Promise<void>;
}

export async function lineTo(port: number): Promise<CutLine> {
  const pairs = new Set<readonly [Socket, Socket]>();
  const server = createServer((near) => {
    const far = connect(port, '127.0.0.1');
    const pair = [near, far] as const;
    pairs.add(pair);
    near.pipe(far).pipe(near);
    for (const socket of pair) {
      socket.on('error', () => undefined);
      socket.on('close', () => {
        for (const other of pair) other.destroy();
        pairs.delete(pair);
      });
    }
  }).listen(0, '127.0.0.1');
  await once(server, 'listening');
  return {
    port: (server.address() as { port: number }).port,
    silence() {
      for (const pair of pairs) for (const socket of pair) socket.unpipe().resume();
    },
    async close() {
      for (const pair of pairs) for (const socket of pair) socket.destroy();
      server.close();
      await once(server, 'close');
    },
  };
}
