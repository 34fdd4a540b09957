// Bundles what the editor's dialogs share into resources/, which Node-RED serves beside the editor.
import { dirname, join } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { build } from 'vite';

const root = join(dirname(fileURLToPath(import.meta.url)), '..');
const source = join(root, 'nodes/kit/editor');

export const buildEditor = () =>
  build({
    root: source,
    configFile: false,
    logLevel: 'warn',
    build: {
      outDir: join(root, 'resources'),
      emptyOutDir: true,
      target: 'es2022',
      reportCompressedSize: false,
      lib: { entry: join(source, 'main.ts'), formats: ['iife'], name: 'phaseloomEditor', fileName: () => 'editor.js' },
    },
  });

if (import.meta.url === pathToFileURL(process.argv[1]).href) await buildEditor();
