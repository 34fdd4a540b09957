// Bundles the pages of the board into dist/nodes/board/page.
import { globSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { build } from 'vite';

const root = join(dirname(fileURLToPath(import.meta.url)), '..');
const pages = join(root, 'nodes/board/pages');

export const buildPages = () =>
  build({
    root: pages,
    configFile: false,
    logLevel: 'warn',
    // Wherever the board stands, its files are beside it.
    base: './',
    oxc: { jsx: { runtime: 'automatic', importSource: 'preact' } },
    build: {
      outDir: join(root, 'dist/nodes/board/page'),
      emptyOutDir: true,
      target: 'es2022',
      reportCompressedSize: false,
      modulePreload: { polyfill: false },
      rolldownOptions: { input: globSync(join(pages, '*.html')) },
    },
  });

if (import.meta.url === pathToFileURL(process.argv[1]).href) await buildPages();
