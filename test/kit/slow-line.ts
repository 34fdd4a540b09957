/** A TCP line on which every piece of data arrives late, by a time that can be changed while it is in use; its order stays. */
import { once } from 'node:events';
import { connect, createServer, type Socket } from 'node:net';

export interface SlowLine {
  readonly port: number;
  /** in each direction */
  delayMs: number;
  close(): Promise<void>;
}

export async function slowLine(serverPort: number): Promise<SlowLine> {
  const sockets = new Set<Socket>();
  const listening = createServer((client) => {
    const server = connect(serverPort, '127.0.0.1');
    late(client, server);
    late(server, client);
  }).listen(0, '127.0.0.1');

  function late(from: Socket, to: Socket): void {
    sockets.add(from);
    let before: Promise<void> = Promise.resolve();
    const inTurn = (act: () => void) => {
      const due = new Promise<void>((resolve) => setTimeout(resolve, line.delayMs));
      before = before.then(() => due).then(act);
    };
    from.on('data', (bytes) => inTurn(() => void to.write(bytes)));
    from.on('end', () => inTurn(() => void to.end()));
    from.on('error', () => to.destroy());
    from.on('close', () => sockets.delete(from));
  }

  await once(listening, 'listening');
  const line: SlowLine = {
    port: (listening.address() as { port: number }).port,
    delayMs: 0,
    async close() {
      for (const socket of sockets) socket.destroy();
      listening.close();
      await once(listening, 'close');
    },
  };
  return line;
}
