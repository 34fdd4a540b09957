/** Topic filters as MQTT 5.0 section 4.7 and 4.8.2 write them. */

const MAX_BYTES = 65_535;

/** What is wrong with a topic filter, or undefined. */
export function filterProblem(filter: string): string | undefined {
  if (filter === '') return 'a topic filter is empty';
  if (Buffer.byteLength(filter) > MAX_BYTES) return `a topic filter is longer than ${MAX_BYTES} bytes`;
  if (filter.includes('\0')) return `topic filter ${JSON.stringify(filter)}: has a NUL character`;
  const plain = withoutShare(filter);
  if (plain === undefined) return `topic filter ${filter}: a shared one is $share/NAME/FILTER, NAME without + # /`;
  const levels = plain.split('/');
  if (levels.some((level, i) => level === '#' && i < levels.length - 1))
    return `topic filter ${filter}: # may only come last`;
  if (levels.some((level) => level.length > 1 && /[+#]/.test(level))) {
    return `topic filter ${filter}: + and # stand alone between slashes`;
  }
  return undefined;
}

function withoutShare(filter: string): string | undefined {
  if (!filter.startsWith('$share/')) return filter;
  return /^\$share\/[^+#/]+\/(.+)$/.exec(filter)?.[1];
}
