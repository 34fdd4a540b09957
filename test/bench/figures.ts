/** Writes test/bench/FIGURES.md and its picture from what the last runs left in .cache/bench.json. */
import { readFileSync, writeFileSync } from 'node:fs';
import { cpus, totalmem } from 'node:os';
import { resolve } from 'node:path';
import type { BenchRow } from './report';

interface Result {
  readonly bench: string;
  readonly rows: readonly BenchRow[];
}

const WIDTH = 960;
const ROW = 22;
const LABELS = 600;
const MOST = 8;

const figure = (n: number) => (Math.abs(n) >= 100 ? Math.round(n).toLocaleString('en-US') : n.toPrecision(3));
const plain = (text: string) => text.trim().replaceAll('&', '&amp;').replaceAll('<', '&lt;').replaceAll('>', '&gt;');

/** One bar a ratio; the line is 1: as good as the peer. Ratios past the edge end there. */
function picture(rows: readonly BenchRow[]): string {
  const unit = (WIDTH - LABELS - 60) / MOST;
  const bars = rows.map((row, i) => {
    const y = 20 + i * ROW;
    const length = Math.max(1, Math.min(MOST, row.ratio!) * unit);
    const label = plain(`${row.what.trim()} / ${row.peer!.what}`.slice(0, 118));
    return `<text x="${LABELS - 8}" y="${y + 13}" text-anchor="end">${label}</text><rect x="${LABELS}" y="${y + 3}" width="${length.toFixed(1)}" height="12" fill="#0072B2"/><text x="${(LABELS + length + 6).toFixed(1)}" y="${y + 13}">${row.ratio!.toFixed(2)}</text>`;
  });
  const height = 30 + rows.length * ROW;
  const one = LABELS + unit;
  return `<svg xmlns="http://www.w3.org/2000/svg" width="${WIDTH}" height="${height}" viewBox="0 0 ${WIDTH} ${height}" font-family="sans-serif" font-size="10"><rect width="100%" height="100%" fill="#fff"/><line x1="${one}" x2="${one}" y1="16" y2="${height - 10}" stroke="#555" stroke-dasharray="3 3"/><text x="${one}" y="12" text-anchor="middle">1: as the peer</text>${bars.join('')}</svg>\n`;
}

function table({ bench, rows }: Result): string {
  const lines = rows.map((r) =>
    [
      r.what.trim(),
      `${figure(r.value)} ${r.unit}`,
      r.peer ? `${r.peer.what}: ${figure(r.peer.value)}` : '',
      r.ratio === undefined ? '' : `${r.ratio.toFixed(2)}x`,
      r.aim ?? '',
    ].join(' | '),
  );
  const head = '| what | measured | peer, same run | ratio | aim |\n| --- | --- | --- | --- | --- |';
  return `## ${bench}\n\n${head}\n${lines.map((l) => `| ${l} |`).join('\n')}\n`;
}

const root = resolve(__dirname, '../..');
const { at, node, results } = JSON.parse(readFileSync(resolve(root, '.cache/bench.json'), 'utf8')) as {
  at: string;
  node: string;
  results: readonly Result[];
};
const told = results.flatMap(({ rows }) => rows.filter((r) => r.ratio !== undefined && r.peer));
writeFileSync(resolve(__dirname, 'figures.svg'), picture(told));
const machine = `${cpus().length} x ${cpus()[0]!.model.trim()}, ${Math.round(totalmem() / 2 ** 30)} GiB, Node.js ${node}`;
const notes = process.argv.slice(2).map((note) => `\n${note}\n`);
writeFileSync(
  resolve(__dirname, 'FIGURES.md'),
  `# Figures

Written by \`npx tsx test/bench/figures.ts\` from the last run of \`npm run bench ${results.map((r) => r.bench).join(' ')}\`, ${at.slice(0, 10)}, on
${machine}. Ratios are medians of several rounds in turns within one run; absolute figures hold for that machine and its load only.
${notes.join('')}
![Ratios to the peers of the same run, as bars](figures.svg)

${results.map(table).join('\n')}`,
);
