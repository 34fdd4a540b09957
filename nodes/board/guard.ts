/** Keeps other sites from acting through the browser of somebody who is logged in here. */
import type { IncomingMessage } from 'node:http';
import { Trouble } from '../kit/trouble';

/** A form of another site cannot send this header, and a script of another site may not without being allowed to (Fetch standard, CORS). */
export const OWN_HEADER = 'x-phaseloom';

/** @throws Trouble 'foreign-request' unless the request comes from a page of this origin */
export function demandOwnPage({ headers }: IncomingMessage): void {
  const site = headers['sec-fetch-site'];
  const isForeign =
    headers[OWN_HEADER] === undefined ||
    (site !== undefined && site !== 'same-origin' && site !== 'none') ||
    (headers.origin !== undefined && !isOwn(headers.origin, headers));
  if (!isForeign) return;
  throw new Trouble(
    'foreign-request',
    `what changes something must come from a page of this board, with the header ${OWN_HEADER}`,
  );
}

function isOwn(origin: string, headers: IncomingMessage['headers']): boolean {
  const hosts = [headers.host, headers['x-forwarded-host']];
  return URL.canParse(origin) && hosts.includes(new URL(origin).host);
}
