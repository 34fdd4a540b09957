/** What no reading may hold whatever else it says: bottomless nesting, names that reach into prototypes, NUL characters. */
import type { Problem } from '../../lib/records';

const MAX_DEPTH = 16;
const NAMES = new Set(['__proto__', 'constructor', 'prototype']);
/** Text in which one of the names or a NUL could hide, directly or behind an escape. */
const SUSPICIOUS = /__proto__|constructor|prototype|\\u00/;

/** The first thing that makes a value unfit, or undefined. Without the text it came from, every name and string is looked at. */
export function unfit(value: unknown, text?: string): Problem | undefined {
  return search(value, '', 0, text === undefined || SUSPICIOUS.test(text));
}

function search(value: unknown, at: string, depth: number, thorough: boolean): Problem | undefined {
  if (typeof value === 'string') return thorough && value.includes('\0') ? nul(at) : undefined;
  if (value === null || typeof value !== 'object') return undefined;
  if (depth >= MAX_DEPTH) return tooDeep(at);
  for (const name in value) {
    const inner = (value as Record<string, unknown>)[name];
    if (!thorough && (inner === null || typeof inner !== 'object')) continue;
    if (thorough && NAMES.has(name)) return forbidden(`${at}/${name}`, name);
    if (thorough && name.includes('\0')) return nul(at);
    const found = search(inner, `${at}/${name}`, depth + 1, thorough);
    if (found) return found;
  }
  return undefined;
}

const tooDeep = (at: string): Problem => ({
  at: at.slice(0, 500),
  code: 'nested-too-deep',
  what: `nested more than ${MAX_DEPTH} levels deep`,
  expected: `at most ${MAX_DEPTH} levels`,
});
const forbidden = (at: string, name: string): Problem => ({
  at,
  code: 'name-forbidden',
  what: `a member is called ${JSON.stringify(name)}`,
  expected: 'any other name',
});
const nul = (at: string): Problem => ({
  at,
  code: 'nul-character',
  what: 'the text has a NUL character',
  expected: 'text without NUL characters',
});
