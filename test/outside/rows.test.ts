import { globSync } from 'node:fs';
import { resolve } from 'node:path';
import { type CheckSet, checkRows } from './rows';

const folder = resolve(__dirname, 'rows');
for (const file of globSync('*.ts', { cwd: folder }).sort()) {
  const set = require(resolve(folder, file)) as CheckSet;
  checkRows(set.title, set.rows);
}
