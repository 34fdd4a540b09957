/** A value of unknown origin as plain JSON data: a frozen copy that shares nothing with what came in. */
import { membersInOrder } from './member-order';
import type { Problem } from './records';

export interface PlainJson {
  /** NaN and infinities are still in it; else what JSON cannot carry is left out */
  readonly value: unknown;
  readonly problems: readonly Problem[];
}

/** Deeper nesting and larger values are refused: no record needs them, and bottomless or self-containing data would never end. */
const MAX_DEPTH = 16;
const MAX_VALUES = 10_000;
const MOST_PROBLEMS = 20;

type Fault = Omit<Problem, 'at'>;
const TOO_DEEP: Fault = {
  code: 'nested-too-deep',
  what: `nested more than ${MAX_DEPTH} levels deep`,
  expected: `at most ${MAX_DEPTH} levels`,
};
const TOO_LARGE: Fault = {
  code: 'too-many-values',
  what: `holds more than ${MAX_VALUES} values`,
  expected: `at most ${MAX_VALUES} values`,
};
const NAME_FORBIDDEN: Fault = {
  code: 'name-forbidden',
  what: 'a member is called "__proto__"',
  expected: 'any other name',
};
const notFinite = (value: number): Fault => ({
  code: 'number-not-finite',
  what: `${value} is not a number that JSON can carry`,
  expected: 'a finite number',
});
const notJson = (kind: string): Fault => ({
  code: 'not-json',
  what: `a ${kind} is not JSON data`,
  expected: 'text, a finite number, true, false, null, an object or an array',
});

/**
 * Copies what JSON can carry and says what it cannot: NaN and infinities (`1e400` reads as one), functions, dates and the like, nesting
 * past 16 levels, more than 10 000 values, and members called `__proto__`, which would change what a later copy inherits.
 * Inherited members are not copied, undefined ones are left out. Members stand in the order of canonical JSON. Everything but the top of
 * the copy is frozen.
 * @example plainJson({ a: [1, undefined], b: undefined }).value // { a: [1, null] }
 * @example plainJson({ a: { b: 1e400 } }).problems[0].at // '/a/b'
 */
export function plainJson(value: unknown): PlainJson {
  const copying: Copying = { problems: [], left: MAX_VALUES };
  return { value: copyOf(value, '', 0, copying), problems: copying.problems };
}

interface Copying {
  readonly problems: Problem[];
  left: number;
}

function copyOf(value: unknown, at: string, depth: number, copying: Copying): unknown {
  if (isPlain(value)) return value;
  if (typeof value === 'number') return refuse(copying, at, notFinite(value), value);
  if (typeof value !== 'object' || value === null) return refuse(copying, at, notJson(typeof value));
  if (depth >= MAX_DEPTH) return refuse(copying, at, TOO_DEEP);
  if (Array.isArray(value)) return copyOfArray(value, at, depth, copying);
  // Objects of another realm (a Function node's sandbox) are plain too, so the prototype cannot be compared.
  const tag = Object.prototype.toString.call(value);
  if (tag !== '[object Object]') return refuse(copying, at, notJson(tag.slice(8, -1)));
  return copyOfObject(value as Record<string, unknown>, at, depth, copying);
}

const isPlain = (value: unknown): boolean =>
  typeof value === 'string' ||
  (typeof value === 'number' && Number.isFinite(value)) ||
  typeof value === 'boolean' ||
  value === null ||
  value === undefined;

function copyOfArray(items: readonly unknown[], at: string, depth: number, copying: Copying): unknown {
  copying.left -= items.length;
  if (copying.left < 0) return refuse(copying, at, TOO_LARGE);
  return Object.freeze(Array.from(items, (item, i) => copyOf(item, `${at}/${i}`, depth + 1, copying) ?? null));
}

function copyOfObject(value: Readonly<Record<string, unknown>>, at: string, depth: number, copying: Copying): unknown {
  const names = Object.keys(value);
  copying.left -= names.length;
  if (copying.left < 0) return refuse(copying, at, TOO_LARGE);
  const copy: Record<string, unknown> = {};
  for (const { key } of membersInOrder(names)) {
    const inner = value[key];
    if (key === '__proto__') refuse(copying, `${at}/__proto__`, NAME_FORBIDDEN);
    // Where it stands is put into words only for what can hold a problem: nearly all members are plain.
    else if (isPlain(inner)) {
      if (inner !== undefined) copy[key] = inner;
    } else copy[key] = copyOf(inner, `${at}/${pointerPart(key)}`, depth + 1, copying);
  }
  return depth === 0 ? copy : Object.freeze(copy);
}

/** What the copy holds instead: nothing, or what is refused itself. */
function refuse<T>({ problems }: Copying, at: string, fault: Fault, instead?: T): T | undefined {
  if (problems.length < MOST_PROBLEMS) problems.push({ at: at.slice(0, 500), ...fault });
  return instead;
}

/** A name as part of a JSON Pointer (RFC 6901). */
const pointerPart = (name: string): string =>
  /[~/]/.test(name) ? name.replaceAll('~', '~0').replaceAll('/', '~1') : name;
