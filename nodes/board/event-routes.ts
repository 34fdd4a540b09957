/** Server-sent events (HTML standard, 9.2): what was committed, a few times a second at most, so that pages ask again. */
import type { ServerResponse } from 'node:http';
import type { Kind, PhaseloomRecord } from '../../lib/records';
import { Trouble } from '../kit/trouble';
import type { Asked, Route } from './route';

const GATHER_MS = 250;
const FIRST_MS = 10;
/** Proxies close what is silent, and a page takes silence for a lost line; a comment would not reach it. */
const SIGN_OF_LIFE_MS = 15_000;
/** ids told of one gathering; a page asks again anyway */
const MOST_IDS = 200;

export const eventRoutes: readonly Route[] = [{ method: 'GET', path: 'api/events', take: stream }];

const streams = new Map<string, Set<ServerResponse>>();

/** Ends the streams of a board that closes; browsers come again by themselves. */
export function endStreams(nodeId: string): void {
  for (const res of streams.get(nodeId) ?? []) res.end();
  streams.delete(nodeId);
}

async function stream({ board, req }: Asked, res: ServerResponse): Promise<void> {
  if (req.method === 'HEAD') throw new Trouble('method-unusable', 'the stream of events answers GET only');
  const ledger = await board.ledger();
  // Who left in the meantime would be told of commits for ever.
  if (res.closed || req.socket.destroyed) return;
  res.writeHead(200, {
    'content-type': 'text/event-stream',
    'cache-control': 'no-store',
    'x-accel-buffering': 'no',
  });
  res.write('retry: 2000\nevent: open\ndata: {}\n\n');
  const gathering = new Gathering((told) => res.write(`event: records\ndata: ${JSON.stringify(told)}\n\n`));
  const deaf = ledger.onCommit((records) => gathering.add(records));
  const alive = setInterval(() => res.write('event: here\ndata: {}\n\n'), SIGN_OF_LIFE_MS);
  const own = streams.get(board.nodeId) ?? new Set();
  streams.set(board.nodeId, own.add(res));
  res.on('close', () => {
    clearInterval(alive);
    gathering.close();
    deaf();
    own.delete(res);
  });
  req.socket.setNoDelay(true);
}

/** Commits of a moment, told as one. */
class Gathering {
  private readonly kinds = new Set<Kind>();
  private ids: string[] = [];
  private timer: NodeJS.Timeout | undefined;
  private toldMs = Number.NEGATIVE_INFINITY;

  constructor(private readonly tell: (told: { kinds: readonly Kind[]; ids: readonly string[] }) => void) {}

  add(records: readonly PhaseloomRecord[]): void {
    for (const { kind, id } of records) {
      this.kinds.add(kind);
      if (this.ids.length < MOST_IDS) this.ids.push(id);
    }
    // The first of a moment is told at once: somebody may be waiting for it.
    this.timer ??= setTimeout(() => this.flush(), Math.max(FIRST_MS, this.toldMs + GATHER_MS - performance.now()));
  }

  close(): void {
    clearTimeout(this.timer);
  }

  private flush(): void {
    this.timer = undefined;
    this.toldMs = performance.now();
    this.tell({ kinds: [...this.kinds], ids: this.ids });
    this.kinds.clear();
    this.ids = [];
  }
}
