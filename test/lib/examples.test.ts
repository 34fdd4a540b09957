import { globSync, readFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { expect } from 'chai';
import * as lib from '../../lib';

/**
 * Every `@example CODE // VALUE` of the library is run. VALUE is a JavaScript expression; numbers in it are met to 1e-6,
 * or to the digits shown when it starts with `~`.
 */
const root = resolve(__dirname, '../..');

interface Example {
  readonly file: string;
  readonly code: string;
  readonly value: string;
}

function examplesOf(file: string): Example[] {
  const text = readFileSync(join(root, file), 'utf8');
  return [...text.matchAll(/\* @example (.+?) \/\/ (.+?)(?: \*\/)?$/gm)].map((m) => ({
    file,
    code: m[1]!,
    value: m[2]!.trim(),
  }));
}

/** In scope: the public surface, and what the file itself exports. */
function evaluate(code: string, file: string): unknown {
  const scope = { ...lib, ...require(join(root, file)) };
  return new Function(...Object.keys(scope), `return (${code});`)(...Object.values(scope));
}

function close(got: unknown, wanted: unknown, tolerance: number, path: string): void {
  if (typeof wanted === 'number' && typeof got === 'number' && Number.isFinite(wanted)) {
    expect(Math.abs(got - wanted), `${path}: got ${got}, the example says ${wanted}`).to.be.at.most(tolerance);
  } else if (wanted !== null && typeof wanted === 'object') {
    for (const [key, value] of Object.entries(wanted))
      close((got as Record<string, unknown>)?.[key], value, tolerance, `${path}.${key}`);
  } else {
    expect(got, path).to.deep.equal(wanted);
  }
}

const digitsShown = (value: string): number => 0.5 * 10 ** -(/\.(\d+)/.exec(value)?.[1]?.length ?? 0);

describe('the examples in the doc comments are true', () => {
  const examples = globSync('lib/**/*.ts', { cwd: root }).flatMap(examplesOf);
  it('finds examples', () => expect(examples.length).to.be.greaterThan(5));
  for (const { file, code, value } of examples) {
    it(`${file}: ${code}`, () => {
      const approximate = value.startsWith('~');
      const tolerance = approximate ? digitsShown(value) : 1e-6;
      close(evaluate(code, file), evaluate(approximate ? value.slice(1) : value, file), tolerance, code);
    });
  }
});
