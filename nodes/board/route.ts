/** A route of the board: what is asked in, an answer out; how it travels is nobody's business but the server's. */
import type { IncomingMessage, ServerResponse } from 'node:http';
import { Trouble } from '../kit/trouble';
import type { Board } from './board';

export interface Asked {
  readonly board: Board;
  readonly query: URLSearchParams;
  /** what a path ending in * was called with, after the part before the asterisk */
  readonly rest: string;
  /** of a POST: the JSON body */
  readonly body: unknown;
  readonly req: IncomingMessage;
}

export interface Answer {
  readonly status?: number;
  readonly headers?: Readonly<Record<string, string>>;
  /** an object is sent as JSON */
  readonly body: object | string | Buffer;
}

/** A GET changes nothing. A POST is guarded against requests from other sites. */
export type Route = {
  readonly method: 'GET' | 'POST';
  /** below the board's path, e.g. 'api/health' or 'field/*' */
  readonly path: string;
} & (
  | { readonly answer: (asked: Asked) => Answer | Promise<Answer> }
  /** takes the response over, e.g. for a stream */
  | { readonly take: (asked: Asked, res: ServerResponse) => void | Promise<void> }
);

/** @throws Trouble when a query parameter is missing */
export function parameter(query: URLSearchParams, name: string): string {
  const value = query.get(name);
  if (value) return value;
  throw new Trouble('parameter-missing', `the parameter ${name} is missing`);
}

/** A whole number from 0 to the most that is allowed; @throws Trouble when it is anything else */
export function whole(query: URLSearchParams, name: string, otherwise: number, most: number): number {
  const text = query.get(name);
  if (!text) return otherwise;
  if (/^\d{1,15}$/.test(text) && Number(text) <= most) return Number(text);
  throw new Trouble(
    'parameter-unusable',
    `${name} is ${JSON.stringify(text)}; right would be a whole number from 0 to ${most}`,
  );
}
