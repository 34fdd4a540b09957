/** `npm run verify [word]`: every outside check as one row; exit code 1 when one fails. */
import { globSync } from 'node:fs';
import { resolve } from 'node:path';
import { type CheckRow, type CheckSet, check } from './rows';

const shown = (value: number | string): string =>
  typeof value === 'string' || Number.isInteger(value) ? String(value) : String(Number(value.toPrecision(6)));

const short = (text: string, width: number): string => (text.length > width ? `${text.slice(0, width - 1)}…` : text);

function cells(row: CheckRow): { readonly line: string[]; readonly pass: boolean } {
  const { got, deviation, pass } = check(row);
  const marks = [
    row.wrongInSource === undefined ? '' : `source prints ${row.wrongInSource}, which is wrong`,
    row.note ?? '',
  ];
  const line = [
    short(row.what, 70),
    short(`${row.source} (${row.confidence})`, 60),
    short(shown(row.expected), 16),
    short(shown(got), 16),
    deviation === 0 ? '0' : deviation.toExponential(1),
    row.tolerance === 0 ? '0' : row.tolerance.toExponential(1),
    pass ? 'pass' : 'FAIL',
    marks.filter(Boolean).join('; '),
  ];
  return { line, pass };
}

function print(set: CheckSet): number {
  const checked = set.rows.map(cells);
  const head = ['what', 'source (confidence)', 'expected', 'got', 'deviation', 'tolerance', 'pass', 'note'];
  const lines = [head, ...checked.map((c) => c.line)];
  const widths = head.map((_, c) => Math.max(...lines.map((line) => line[c]!.length)));
  console.log(`\n${set.title}`);
  for (const line of lines)
    console.log(
      line
        .map((cell, c) => cell.padEnd(widths[c]!))
        .join('  ')
        .trimEnd(),
    );
  return checked.filter((c) => !c.pass).length;
}

const root = resolve(__dirname, 'rows');
const word = process.argv[2] ?? '';
const files = globSync('*.ts', { cwd: root })
  .sort()
  .filter((file) => file.includes(word));
let rows = 0;
let failed = 0;
for (const file of files) {
  const set = require(resolve(root, file)) as CheckSet;
  rows += set.rows.length;
  failed += print(set);
}
console.log(`\n${rows} outside checks, ${rows - failed} pass, ${failed} fail`);
process.exitCode = failed > 0 || rows === 0 ? 1 : 0;
