/** Ids derived from content, so that saying the same thing twice makes the same record. */
import { sha256 } from '@noble/hashes/sha2';
import { bytesToHex, utf8ToBytes } from '@noble/hashes/utils';
import { parseInstant } from './instant';
import { membersInOrder, quoted } from './member-order';

const PREFIX = {
  reading: 'rd',
  identification: 'pi',
  rotation: 'ro',
  comparison: 'cm',
  alert: 'al',
  rejection: 'rj',
  trace: 'tr',
  correction: 'co',
  plan: 'pl',
  replay: 'rp',
} as const;

/**
 * Id of a record: a prefix for its kind, the second it speaks of (`takenAt` or `at`, since 1970, nine hexadecimal digits; none when it has
 * neither), and the first 128 bits of SHA-256 over its canonical JSON.
 * The property `id` itself is left out. Object keys are sorted, so their order does not matter.
 * @example derivedId('reading', { terminal: 'a', takenAt: 't' }) === derivedId('reading', { takenAt: 't', terminal: 'a' }) // true
 * @example derivedId('reading', { id: 'x', terminal: 'a' }) === derivedId('reading', { terminal: 'a' }) // true
 */
export function derivedId(kind: keyof typeof PREFIX, content: object): string {
  const text = 'id' in content ? objectText(content as Record<string, unknown>, 'id') : canonicalJson(content);
  return `${PREFIX[kind]}-${secondOf(content)}${digest(text)}`;
}

/**
 * The same for content without an id, together with the canonical JSON of the record that has it: the text is made anyway.
 * @example identified('reading', { terminal: 'a' }).json.startsWith('{"terminal":"a","id":"rd-') // true
 */
export function identified(kind: keyof typeof PREFIX, content: object): { readonly id: string; readonly json: string } {
  const text = canonicalJson(content);
  const id = `${PREFIX[kind]}-${secondOf(content)}${digest(text)}`;
  return { id, json: `${text.slice(0, -1)}${text === '{}' ? '' : ','}"id":"${id}"}` };
}

/** Records come more or less in the order of what they speak of: so their ids lie side by side in an index, and not all over it. */
function secondOf({ takenAt, at }: { readonly takenAt?: unknown; readonly at?: unknown }): string {
  const instant = takenAt ?? at;
  const us = typeof instant === 'string' ? parseInstant(instant) : Number.NaN;
  return us >= 0
    ? Math.floor(us / 1e6)
        .toString(16)
        .padStart(9, '0')
    : '';
}

type NativeHash = (algorithm: 'sha256', text: string, encoding: 'hex') => string;
interface Runtime {
  readonly process?: { readonly getBuiltinModule?: (name: string) => { readonly hash?: NativeHash } | undefined };
}
/** The runtime's own SHA-256 where there is one that answers at once, as in Node.js: the same digits in a quarter of the time. */
const native = (globalThis as Runtime).process?.getBuiltinModule?.('node:crypto')?.hash;

const encoder = new TextEncoder();
const textBytes = new Uint8Array(4096);
const hash = new Uint8Array(32);

/**
 * First 128 bits of SHA-256 of the UTF-8 form of a text, as 32 hexadecimal digits.
 * @example digest('abc') // 'ba7816bf8f01cfea414140de5dae2223'
 */
export function digest(text: string): string {
  return native ? native('sha256', text, 'hex').slice(0, 32) : portableDigest(text);
}

/** The same where the runtime has no hash that answers at once, as in browsers. */
export function portableDigest(text: string): string {
  // Buffers are kept between calls and not wiped (nothing here is secret): fresh ones cost the garbage collector more than the hash costs.
  sha256.create().update(utf8(text)).digestInto(hash);
  return bytesToHex(hash.subarray(0, 16));
}

function utf8(text: string): Uint8Array {
  // A UTF-16 unit takes at most three bytes in UTF-8.
  if (text.length * 3 > textBytes.length) return utf8ToBytes(text);
  return textBytes.subarray(0, encoder.encodeInto(text, textBytes).written);
}

/**
 * JSON with sorted keys and no undefined members: equal content, equal text.
 * Keys are in the order of their UTF-16 units, as in RFC 8785; what JSON cannot say (NaN, infinities) becomes null, as in JSON.stringify.
 * @example canonicalJson({ b: [1, undefined], a: 'x', c: undefined }) // '{"a":"x","b":[1,null]}'
 */
export function canonicalJson(value: unknown): string {
  // Where the members stand in order already, as in most of our records, the runtime writes the same text in a fifth of the time.
  return isInOrder(value) ? (JSON.stringify(value) ?? 'null') : textOf(value);
}

function isInOrder(value: unknown): boolean {
  if (typeof value !== 'object' || value === null) return true;
  if (Array.isArray(value)) return value.every(isInOrder);
  if ('toJSON' in value) return false;
  let before = '';
  for (const key of Object.keys(value)) {
    if (key < before || !isInOrder((value as Record<string, unknown>)[key])) return false;
    before = key;
  }
  return true;
}

function textOf(value: unknown): string {
  switch (typeof value) {
    case 'string':
      return quoted(value);
    case 'number':
      return Number.isFinite(value) ? String(value) : 'null';
    case 'object':
      if (value === null) return 'null';
      return Array.isArray(value) ? arrayText(value) : objectText(value as Record<string, unknown>);
    default:
      return JSON.stringify(value) ?? 'null';
  }
}

function arrayText(items: readonly unknown[]): string {
  return `[${Array.from(items, textOf).join(',')}]`;
}

function objectText(value: Readonly<Record<string, unknown>>, without?: string): string {
  let text = '';
  for (const { key, name } of membersInOrder(Object.keys(value))) {
    const member = value[key];
    if (member === undefined || key === without) continue;
    text += text === '' ? '{' : ',';
    text += name;
    text += textOf(member);
  }
  return text === '' ? '{}' : `${text}}`;
}
