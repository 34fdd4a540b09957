/** The order of members in canonical JSON: that of the UTF-16 units of their names, as in RFC 8785. */

export interface Member {
  readonly key: string;
  /** as it stands in the text, colon included */
  readonly name: string;
}

/** Members by their keys as they were met and in order: instruments send the same ones again and again. */
interface Layout {
  readonly keys: readonly string[];
  readonly members: readonly Member[];
}

const layouts = new Map<number, Layout[]>();
/** Layouts remembered of one number of keys, keys of a layout that is remembered, and their length: strangers must not fill the memory. */
const MOST = { layouts: 8, keys: 32, length: 64 } as const;

/**
 * Members in the order of canonical JSON.
 * @example membersInOrder(['b', 'a']).map(({ key }) => key) // ['a', 'b']
 */
export function membersInOrder(keys: readonly string[]): readonly Member[] {
  const alike = layouts.get(keys.length) ?? [];
  const known = alike.find((layout) => layout.keys.every((key, i) => key === keys[i]));
  if (known) return known.members;
  const members = [...keys].sort().map((key) => ({ key, name: `${quoted(key)}:` }));
  const isWorthIt =
    alike.length < MOST.layouts && keys.length <= MOST.keys && keys.every((k) => k.length <= MOST.length);
  if (isWorthIt) layouts.set(keys.length, [...alike, { keys, members }]);
  return members;
}

/** Printable ASCII but the quotation mark and the backslash: what JSON leaves as it is. */
const PLAIN = /^[ !#-[\]-~]*$/;
/**
 * A text as JSON.
 * @example quoted('a"b') // '"a\\"b"'
 */
export const quoted = (text: string): string => (PLAIN.test(text) ? `"${text}"` : JSON.stringify(text));
