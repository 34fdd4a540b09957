// Compiles lib and nodes to CommonJS in dist, bundles the board's pages and the editor's dialogs, copies what Node-RED reads beside them, and makes examples/ from flows-examples/.
import { execFileSync } from 'node:child_process';
import { cpSync, existsSync, globSync, mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { buildEditor } from './editor.mjs';
import { buildPages } from './pages.mjs';
import { buildWidget } from './widget.mjs';

const root = join(dirname(fileURLToPath(import.meta.url)), '..');
const require = createRequire(import.meta.url);
process.chdir(root);

rmSync('dist', { recursive: true, force: true });
execFileSync(process.execPath, [require.resolve('typescript/bin/tsc'), '-p', 'tsconfig.json'], { stdio: 'inherit' });

for (const file of globSync('nodes/**/{phaseloom-*.html,locales/**/*.{json,html},icons/*,package.json}'))
  copy(file, join('dist', file));

await buildPages();
await buildEditor();
await buildWidget();
copy('nodes/ui-phasor/examples', 'dist/nodes/ui-phasor/examples');

const { schemas } = require(join(root, 'dist/lib/records'));
mkdirSync('dist/schemas');
for (const [kind, schema] of Object.entries(schemas)) {
  writeFileSync(`dist/schemas/${kind}.schema.json`, `${JSON.stringify(schema, null, 2)}\n`);
}

rmSync('examples', { recursive: true, force: true });
for (const file of globSync('flows-examples/**/*.json')) {
  // A flow is an array; other JSON there is data, and would stand in the Import menu as a flow.
  if (Array.isArray(JSON.parse(readFileSync(file, 'utf8')))) copy(file, file.replace(/^flows-examples/, 'examples'));
}

function copy(from, to) {
  if (!existsSync(from)) return;
  mkdirSync(dirname(to), { recursive: true });
  cpSync(from, to, { recursive: true });
}
