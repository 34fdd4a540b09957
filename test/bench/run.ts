/** `npm run bench [name ...]`: every *.bench.ts in a process of its own, one after the other; the JSON lines go to .cache/bench.json. */
import { spawnSync } from 'node:child_process';
import { existsSync, globSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { basename, resolve } from 'node:path';

const root = resolve(__dirname, '../..');
const wanted = process.argv.slice(2);
const files = globSync('test/bench/*.bench.ts', { cwd: root })
  .sort()
  .filter((f) => wanted.length === 0 || wanted.includes(basename(f, '.bench.ts')));

const results: unknown[] = [];
let failed = 0;
for (const file of files) {
  const run = spawnSync(process.execPath, ['--expose-gc', '--require', 'tsx/cjs', file], {
    cwd: root,
    encoding: 'utf8',
    timeout: 1_800_000,
  });
  const lines = run.stdout.split('\n');
  console.log(
    lines
      .filter((l) => !l.startsWith('{"bench"'))
      .join('\n')
      .trimEnd(),
  );
  results.push(...lines.filter((l) => l.startsWith('{"bench"')).map((l) => JSON.parse(l)));
  if (run.status !== 0) {
    failed++;
    console.error(`${file} ended with ${run.status ?? run.signal}\n${run.stderr}`);
  }
}
mkdirSync(resolve(root, '.cache'), { recursive: true });
const kept = resolve(root, '.cache/bench.json');
// What was not measured now stays as it was measured last.
const names = new Set(results.map((r) => (r as { bench: string }).bench));
const before = existsSync(kept) ? (JSON.parse(readFileSync(kept, 'utf8')).results as { bench: string }[]) : [];
const all = [...before.filter((r) => !names.has(r.bench)), ...results];
writeFileSync(kept, JSON.stringify({ at: new Date().toISOString(), node: process.version, results: all }, null, 2));
console.log(`\n${results.length} measurements in .cache/bench.json`);
process.exitCode = failed ? 1 : 0;
