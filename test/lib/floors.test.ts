import { globSync, readFileSync } from 'node:fs';
import { dirname, join, relative, resolve } from 'node:path';
import { expect } from 'chai';

const root = resolve(__dirname, '../..');

/** From the ground up. An import may go to the same folder or to a lower floor. */
function floorOf(path: string): { floor: number; room: string } {
  const [top, room = ''] = path.split('/');
  if (top === 'lib') return { floor: 0, room: 'lib' };
  const floors: Record<string, number> = { kit: 1, ledger: 2, board: 4 };
  return { floor: floors[room] ?? 3, room };
}

function importsOf(file: string): string[] {
  const text = readFileSync(join(root, file), 'utf8');
  return [...text.matchAll(/(?<!')(?:from|import|require\()\s*'([^']+)'/g)].map((m) => m[1]!);
}

const sources = globSync('{lib,nodes}/**/*.{ts,tsx}', { cwd: root });

describe('the floors of the house', () => {
  it('has sources to look at', () => expect(sources.length).to.be.greaterThan(20));

  it('imports only go down, and nodes never import each other', () => {
    const upward = sources.flatMap((file) =>
      importsOf(file)
        .filter((name) => name.startsWith('.'))
        .map((name) => relative(root, resolve(root, dirname(file), name)))
        .filter((target) => {
          const from = floorOf(file);
          const to = floorOf(target);
          return from.room !== to.room && to.floor >= from.floor;
        })
        .map((target) => `${file} -> ${target}`),
    );
    expect(upward).to.deep.equal([]);
  });

  it('lib knows no Node-RED, network, files, clock or chance', () => {
    const allowed = new Set([
      '@sinclair/typebox',
      '@noble/hashes/sha2',
      '@noble/hashes/utils',
      'ajv',
      'ajv/dist/2020',
      'highs',
      'fast-xml-parser',
      // Asks for the time only where something is to expire.
      'lru-cache',
    ]);
    const strangers = sources
      .filter((file) => file.startsWith('lib/'))
      .flatMap((file) => [
        ...importsOf(file)
          .filter((name) => !name.startsWith('.') && !allowed.has(name))
          .map((name) => `${file} imports ${name}`),
        ...[
          ...readFileSync(join(root, file), 'utf8').matchAll(
            /Date\.now|new Date\(\)|Math\.random|performance\.now|process\.|setTimeout|fetch\(/g,
          ),
        ].map((m) => `${file} uses ${m[0]}`),
      ]);
    expect(strangers).to.deep.equal([]);
  });
});
