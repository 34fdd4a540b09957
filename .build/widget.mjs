// Bundles the dashboard widget into the package that dist/nodes/ui-phasor is.
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { build } from 'vite';

const root = join(dirname(fileURLToPath(import.meta.url)), '..');
const source = join(root, 'nodes/ui-phasor/widget');

export const buildWidget = () =>
  build({
    root: source,
    configFile: false,
    logLevel: 'warn',
    build: {
      outDir: join(root, 'dist/nodes/ui-phasor/resources'),
      emptyOutDir: true,
      target: 'es2022',
      reportCompressedSize: false,
      lib: {
        entry: join(source, 'main.ts'),
        formats: ['iife'],
        name: 'phaseloomWidget',
        fileName: () => 'phasor-widget.js',
      },
    },
  });
