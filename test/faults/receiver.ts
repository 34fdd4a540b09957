/** An outside system of our own: takes CloudEvents by POST, notes what it processed, and behaves as badly as it is told to. */
import { once } from 'node:events';
import http from 'node:http';
import { freePort } from '../kit/broker';

/**
 * process: whether the event is taken in before the answer; answer: a status, 'never' (connection stays open), or 'cut' (connection
 * is broken off, after processing if told so)
 */
export interface Manners {
  readonly process: boolean;
  readonly answer: number | 'never' | 'cut';
  readonly delayMs?: number;
  readonly retryAfterS?: number;
}

export interface Receiver {
  readonly url: string;
  /** idempotency keys in the order of processing; a key twice is a duplicate that a receiver must know */
  readonly processed: { key: string; subject: string }[];
  calls: number;
  manners: Manners;
  down(): Promise<void>;
  up(): Promise<void>;
}

export const POLITE: Manners = { process: true, answer: 204 };

export async function receiver(): Promise<Receiver> {
  const port = await freePort();
  let server: http.Server | undefined;
  const self: Receiver = {
    url: `http://127.0.0.1:${port}/events`,
    processed: [],
    calls: 0,
    manners: POLITE,
    async down() {
      const ending = server;
      server = undefined;
      if (!ending) return;
      ending.close();
      ending.closeAllConnections();
      await once(ending, 'close');
    },
    async up() {
      server = http.createServer((request, response) => take(self, request, response)).listen(port, '127.0.0.1');
      await once(server, 'listening');
    },
  };
  await self.up();
  return self;
}

function take(self: Receiver, request: http.IncomingMessage, response: http.ServerResponse): void {
  let body = '';
  request.on('data', (chunk) => (body += chunk));
  request.on('end', () => {
    self.calls++;
    const { process, answer, delayMs = 0, retryAfterS } = self.manners;
    if (process) {
      self.processed.push({ key: String(request.headers['idempotency-key']), subject: JSON.parse(body).subject });
    }
    if (answer === 'never') return;
    if (answer === 'cut') request.socket.destroy();
    else {
      const headers = retryAfterS === undefined ? {} : { 'retry-after': String(retryAfterS) };
      setTimeout(() => response.writeHead(answer, headers).end(), delayMs);
    }
  });
}
