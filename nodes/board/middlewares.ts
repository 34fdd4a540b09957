/** What Node-RED puts before its HTTP nodes (settings httpNodeMiddleware); httpNodeAuth stands before all of them already. */
import type { IncomingMessage, ServerResponse } from 'node:http';
import type { NodeAPI } from 'node-red';

type Next = (error?: unknown) => void;
type Middleware = (req: IncomingMessage, res: ServerResponse, next: Next) => void;

export function middlewaresOf(RED: NodeAPI): readonly Middleware[] {
  const given = RED.settings.httpNodeMiddleware as unknown as Middleware | readonly Middleware[] | undefined;
  return [given ?? []].flat().filter((m) => typeof m === 'function') as Middleware[];
}

/** Runs each in turn, then `go`; an error goes to `next`. */
export function passed(
  [first, ...others]: readonly Middleware[],
  req: IncomingMessage,
  res: ServerResponse,
  next: Next,
  go: () => void,
): void {
  if (!first) go();
  else first(req, res, (error) => (error ? next(error) : passed(others, req, res, next, go)));
}
