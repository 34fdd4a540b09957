/** Serves the boards under Node-RED's HTTP node root, each at its path. */
import type { IncomingMessage, ServerResponse } from 'node:http';
import { promisify } from 'node:util';
import { gzip } from 'node:zlib';
import type { NodeAPI } from 'node-red';
import { asError, Trouble } from '../kit/trouble';
import type { Board } from './board';
import { jsonBody } from './body';
import { demandOwnPage } from './guard';
import { middlewaresOf, passed } from './middlewares';
import type { Answer, Route } from './route';
import { routes } from './routes';

type Next = (error?: unknown) => void;

const SECURITY = {
  'content-security-policy':
    "default-src 'self'; img-src 'self' data: blob:; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'self'",
  'x-content-type-options': 'nosniff',
  'referrer-policy': 'no-referrer',
};

export class BoardServer {
  private readonly boards = new Map<string, Board>();

  constructor(RED: NodeAPI) {
    RED.httpNode?.use((req, res, next) => this.take(RED, req, res, next));
  }

  /** @throws Trouble when another board has this path; gives the way to stop */
  open(path: string, board: Board): () => void {
    if (this.boards.has(path)) throw new Trouble('config', `another board has the path ${path} already`);
    this.boards.set(path, board);
    return () => {
      if (this.boards.get(path) === board) this.boards.delete(path);
    };
  }

  private take(RED: NodeAPI, req: IncomingMessage, res: ServerResponse, next: Next): void {
    const url = addressOf(req.url ?? '/');
    if (!url) {
      next();
      return;
    }
    for (const [path, board] of this.boards) {
      if (url.pathname !== path && !url.pathname.startsWith(`${path}/`)) continue;
      const rest = url.pathname.slice(path.length + 1);
      const go = () => (url.pathname === path ? toFolder(path, res) : void serve(board, rest, url, req, res, next));
      passed(middlewaresOf(RED), req, res, next, go);
      return;
    }
    next();
  }
}

/** A path that begins with two slashes is a path, not a host; what is no address at all is for others to answer. */
function addressOf(path: string): URL | undefined {
  const whole = path.startsWith('/') ? `http://board${path}` : path;
  return URL.canParse(whole) ? new URL(whole) : undefined;
}

/** Addresses in the pages are relative, so the path must end in a slash. */
function toFolder(path: string, res: ServerResponse): void {
  res.writeHead(308, { location: `${path.slice(path.lastIndexOf('/') + 1)}/` }).end();
}

async function serve(board: Board, path: string, url: URL, req: IncomingMessage, res: ServerResponse, next: Next) {
  const route = routes.find((r) => r.method === methodOf(req) && fits(r, path));
  if (!route) return next();
  for (const [name, value] of Object.entries(SECURITY)) res.setHeader(name, value);
  try {
    if (route.method === 'POST') demandOwnPage(req);
    const body = route.method === 'POST' ? await jsonBody(req) : undefined;
    const rest = route.path.endsWith('*') ? path.slice(route.path.length - 1) : '';
    const asked = { board, query: url.searchParams, rest, body, req };
    if ('take' in route) await route.take(asked, res);
    else await send(req, res, await route.answer(asked));
  } catch (cause) {
    if (res.headersSent) res.destroy();
    else await send(req, res, refusal(asError(cause)));
  }
}

const methodOf = (req: IncomingMessage) => (req.method === 'HEAD' ? 'GET' : req.method);

const fits = ({ path: pattern }: Route, path: string): boolean =>
  pattern.endsWith('*') ? path.startsWith(pattern.slice(0, -1)) : path === pattern;

/** From this length on JSON goes packed to those who take it: a whole feeder is hundreds of kilobytes of figures. */
const PACKED_FROM = 32_768;
const packed = promisify(gzip);

async function send(
  req: IncomingMessage,
  res: ServerResponse,
  { status = 200, headers = {}, body }: Answer,
): Promise<void> {
  const isRaw = typeof body === 'string' || Buffer.isBuffer(body);
  const type = isRaw ? 'text/plain; charset=utf-8' : 'application/json; charset=utf-8';
  const told = { 'content-type': type, 'cache-control': 'no-store', ...headers };
  const content = isRaw ? body : JSON.stringify(body);
  const isPacked =
    !isRaw && content.length >= PACKED_FROM && /\bgzip\b/.test(String(req.headers['accept-encoding'] ?? ''));
  const sent = isPacked ? await packed(content) : content;
  res.writeHead(status, isPacked ? { ...told, 'content-encoding': 'gzip', vary: 'accept-encoding' } : told);
  res.end(req.method === 'HEAD' ? undefined : sent);
}

const STATUSES: Readonly<Record<string, number>> = {
  config: 503,
  'ledger-closed': 503,
  'foreign-request': 403,
  'body-too-long': 413,
  'not-found': 404,
  'alert-unknown': 404,
  'state-does-not-allow': 409,
};

function refusal(cause: Error): Answer {
  const { code } = cause as { code?: unknown };
  const isKnown = cause instanceof Trouble;
  const status = isKnown ? (STATUSES[String(code)] ?? 400) : 500;
  return { status, body: { code: isKnown ? code : 'failed', error: cause.message } };
}
