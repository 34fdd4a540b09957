/** From bytes to a JSON value, or the one problem that says what the bytes are instead. */
import { isUtf8 } from 'node:buffer';
import type { Problem } from '../../lib/records';

export type Opened =
  | { readonly ok: true; readonly value: unknown; readonly text: string }
  | { readonly ok: false; readonly problem: Problem };

const EXPECTED = 'a reading as JSON text in UTF-8';

export function openJson(bytes: Buffer): Opened {
  if (bytes.length === 0) return refused('payload-empty', 'the payload is empty');
  if (!isUtf8(bytes))
    return refused(
      'encoding-not-utf8',
      `the bytes are not UTF-8${looksLikeUtf16(bytes) ? ' but look like UTF-16' : ''}`,
    );
  const text = bytes[0] === 0xef && bytes[1] === 0xbb ? bytes.toString('utf8', 3) : bytes.toString();
  try {
    return { ok: true, value: JSON.parse(text), text };
  } catch (cause) {
    const hint = looksLikeUtf16(bytes) ? ' (the bytes look like UTF-16)' : '';
    return refused('json-invalid', `${(cause as Error).message}${hint}`);
  }
}

function refused(code: string, what: string): Opened {
  return { ok: false, problem: { at: '', code, what: what.slice(0, 1000), expected: EXPECTED } };
}

/** A byte order mark, or every other byte zero as in UTF-16 text of Latin letters. */
function looksLikeUtf16(bytes: Buffer): boolean {
  if (bytes.length < 2) return false;
  const mark = bytes.readUInt16BE(0);
  return mark === 0xfeff || mark === 0xfffe || (bytes[0] === 0) !== (bytes[1] === 0);
}
