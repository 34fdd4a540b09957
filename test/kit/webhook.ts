/** A real HTTP receiver whose answers a test decides. */
import { once } from 'node:events';
import http from 'node:http';

export interface Received {
  readonly headers: http.IncomingHttpHeaders;
  readonly body: string;
}
export type Reply =
  | { readonly status: number; readonly headers?: Record<string, string>; readonly delayMs?: number }
  | 'never';

export interface Webhook {
  readonly url: string;
  readonly received: Received[];
  reply: (received: Received, n: number) => Reply;
  until(n: number, withinMs?: number): Promise<void>;
  close(): Promise<void>;
}

export async function webhook(): Promise<Webhook> {
  const hook: Webhook = {
    url: '',
    received: [],
    reply: () => ({ status: 204 }),
    async until(n, withinMs = 8000) {
      const deadline = Date.now() + withinMs;
      while (hook.received.length < n) {
        if (Date.now() > deadline) throw new Error(`${hook.received.length} of ${n} calls after ${withinMs} ms`);
        await new Promise((r) => setTimeout(r, 10));
      }
    },
    async close() {
      server.closeAllConnections();
      server.close();
    },
  };
  const server = http.createServer((request, response) => {
    let body = '';
    request.on('data', (chunk) => (body += chunk));
    request.on('end', () => {
      const received = { headers: request.headers, body };
      hook.received.push(received);
      const reply = hook.reply(received, hook.received.length);
      if (reply === 'never') return;
      setTimeout(() => response.writeHead(reply.status, reply.headers).end(), reply.delayMs ?? 0);
    });
  });
  server.listen(0, '127.0.0.1');
  await once(server, 'listening');
  Object.assign(hook, { url: `http://127.0.0.1:${(server.address() as { port: number }).port}/in` });
  return hook;
}
