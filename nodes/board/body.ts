/** The JSON body of a request, of bounded length. */
import type { IncomingMessage } from 'node:http';
import { Trouble } from '../kit/trouble';

const LONGEST_BYTES = 1_048_576;

/** @throws Trouble when it is too long or no JSON */
export async function jsonBody(req: IncomingMessage): Promise<unknown> {
  const parsed = (req as { body?: unknown }).body;
  // A parser before us may have left an empty object where it did not read anything.
  if (parsed !== undefined && req.readableEnded) return parsed;
  const parts: Buffer[] = [];
  let length = 0;
  for await (const part of req as AsyncIterable<Buffer>) {
    length += part.length;
    if (length > LONGEST_BYTES) throw new Trouble('body-too-long', `the body is over ${LONGEST_BYTES} bytes`);
    parts.push(part);
  }
  try {
    return JSON.parse(Buffer.concat(parts).toString());
  } catch (cause) {
    throw new Trouble('body-unreadable', `the body is not JSON: ${(cause as Error).message}`);
  }
}
