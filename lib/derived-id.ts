/** Ids derived from content, so that saying the same thing twice makes the same record. */
import { sha256 } from '@noble/hashes/sha2';
import { bytesToHex, utf8ToBytes } from '@noble/hashes/utils';

const PREFIX = {
  reading: 'rd',
  identification: 'pi',
  rotation: 'ro',
  comparison: 'cm',
  alert: 'al',
  rejection: 'rj',
  trace: 'tr',
  plan: 'pl',
} as const;

/**
 * Id of a record: a prefix for its kind and the first 128 bits of SHA-256 over its canonical JSON.
 * The property `id` itself is left out. Object keys are sorted, so their order does not matter.
 * @example derivedId('reading', { terminal: 'a', takenAt: 't' }) === derivedId('reading', { takenAt: 't', terminal: 'a' }) // true
 */
export function derivedId(kind: keyof typeof PREFIX, content: object): string {
  const { id: _, ...rest } = content as Record<string, unknown>;
  return `${PREFIX[kind]}-${digest(canonicalJson(rest))}`;
}

/** First 128 bits of SHA-256 of a text, as 32 hexadecimal digits. */
export function digest(text: string): string {
  return bytesToHex(sha256(utf8ToBytes(text)).subarray(0, 16));
}

/** JSON with sorted keys and no undefined members: equal content, equal text. */
export function canonicalJson(value: unknown): string {
  if (Array.isArray(value)) return `[${value.map((v) => canonicalJson(v ?? null)).join(',')}]`;
  if (value === null || typeof value !== 'object') return JSON.stringify(value) ?? 'null';
  const members = Object.entries(value)
    .filter(([, v]) => v !== undefined)
    .sort(([a], [b]) => (a < b ? -1 : 1))
    .map(([k, v]) => `${JSON.stringify(k)}:${canonicalJson(v)}`);
  return `{${members.join(',')}}`;
}
