/** Reads the files in data/. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { gunzipSync } from 'node:zlib';

const bytes = (name: string): Buffer => readFileSync(join(__dirname, 'data', name));

export const json = <T>(name: string): T => JSON.parse(bytes(name).toString()) as T;

/** Rows of a CSV file with a header line; quotes around a field are taken off. */
export function csv(name: string): Record<string, string>[] {
  const text = (name.endsWith('.gz') ? gunzipSync(bytes(name)) : bytes(name)).toString();
  const [head, ...lines] = text.trim().split(/\r?\n/).map(fields);
  return lines.map((line) => Object.fromEntries(head!.map((key, i) => [key, line[i] ?? ''])));
}

function fields(line: string): string[] {
  return [...line.matchAll(/("(?:[^"]|"")*"|[^,]*)(?:,|$)/g)]
    .slice(0, -1)
    .map((m) => m[1]!.trim().replace(/^"|"$/g, '').replaceAll('""', '"'));
}
