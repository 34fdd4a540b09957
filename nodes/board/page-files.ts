/** The built pages, from memory; packed when the browser takes it. */
import { existsSync, globSync, readFileSync } from 'node:fs';
import { extname, join } from 'node:path';
import { gzipSync } from 'node:zlib';
import { Trouble } from '../kit/trouble';
import type { Answer, Asked, Route } from './route';

export const pageRoutes: readonly Route[] = [{ method: 'GET', path: '*', answer: page }];

interface PageFile {
  readonly type: string;
  readonly plain: Buffer;
  readonly packed: Buffer;
}

const TYPES: Readonly<Record<string, string>> = {
  '.html': 'text/html; charset=utf-8',
  '.js': 'text/javascript; charset=utf-8',
  '.css': 'text/css; charset=utf-8',
  '.svg': 'image/svg+xml',
  '.json': 'application/json; charset=utf-8',
  '.webmanifest': 'application/manifest+json; charset=utf-8',
};

let files: ReadonlyMap<string, PageFile> | undefined;

function page({ rest, req }: Asked): Answer {
  files ??= read(join(__dirname, 'page'));
  const name = rest === '' ? 'index.html' : rest;
  const file = files.get(name);
  if (!file) throw new Trouble('not-found', `the board has no page ${JSON.stringify(name)}`);
  const isPacked = /\bgzip\b/.test(String(req.headers['accept-encoding'] ?? ''));
  // What the bundler names by content never changes; the rest is asked for each time.
  const cache = name.startsWith('assets/') ? 'public, max-age=31536000, immutable' : 'no-cache';
  const headers = { 'content-type': file.type, 'cache-control': cache, vary: 'accept-encoding' };
  if (!isPacked) return { headers, body: file.plain };
  return { headers: { ...headers, 'content-encoding': 'gzip' }, body: file.packed };
}

function read(folder: string): ReadonlyMap<string, PageFile> {
  if (!existsSync(folder)) throw new Trouble('config', 'the pages of the board are not built: run npm run build');
  const names = globSync('**/*.*', { cwd: folder });
  return new Map(names.map((name) => [name.replaceAll('\\', '/'), fileOf(join(folder, name))]));
}

function fileOf(path: string): PageFile {
  const plain = readFileSync(path);
  return { type: TYPES[extname(path)] ?? 'application/octet-stream', plain, packed: gzipSync(plain) };
}
