import { execFile, spawn } from 'node:child_process';
import { once } from 'node:events';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { promisify } from 'node:util';
import { expect } from 'chai';

const run = promisify(execFile);
const root = resolve(__dirname, '../..');
const manifest = JSON.parse(readFileSync(join(root, 'package.json'), 'utf8'));

async function freePort(): Promise<number> {
  const server = createServer().listen(0, '127.0.0.1');
  await once(server, 'listening');
  const { port } = server.address() as { port: number };
  server.close();
  return port;
}

interface NodeSet {
  id: string;
  module: string;
  types: string[];
  enabled: boolean;
  err?: string;
}

/** Starts a plain Node-RED on a user directory and asks it which node sets it loaded, and for the script of the dialogs. */
async function loadedNodes(nodeRed: string, userDir: string): Promise<{ sets: NodeSet[]; script: number }> {
  const port = await freePort();
  const red = join(root, 'node_modules', nodeRed, 'red.js');
  const child = spawn(process.execPath, [red, '--userDir', userDir, '--port', String(port), '-D', 'uiHost=127.0.0.1'], {
    stdio: 'pipe',
  });
  let log = '';
  child.stdout.on('data', (d) => (log += d));
  child.stderr.on('data', (d) => (log += d));
  try {
    for (let i = 0; i < 120; i++) {
      const answer = await fetch(`http://127.0.0.1:${port}/nodes`, { headers: { accept: 'application/json' } }).catch(
        () => undefined,
      );
      if (answer?.ok) {
        const script = await fetch(`http://127.0.0.1:${port}/resources/@phaseloom/node-red/editor.js`);
        return { sets: (await answer.json()) as NodeSet[], script: script.status };
      }
      await new Promise((r) => setTimeout(r, 250));
    }
    throw new Error(`${nodeRed} did not come up:\n${log}`);
  } finally {
    child.kill('SIGKILL');
  }
}

describe('the tarball', function () {
  this.timeout(240_000);
  let folder = '';
  let tarball = '';

  before(async () => {
    folder = mkdtempSync(join(tmpdir(), 'phaseloom-pack-'));
    const { stdout } = await run('npm', ['pack', '--ignore-scripts', '--json', '--pack-destination', folder], {
      cwd: root,
    });
    tarball = join(folder, JSON.parse(stdout)[0].filename);
    writeFileSync(join(folder, 'package.json'), '{"name":"plain-user-dir","private":true}');
    await run('npm', ['install', '--no-audit', '--no-fund', '--prefer-offline', '--omit=optional', tarball], {
      cwd: folder,
    });
  });
  after(() => rmSync(folder, { recursive: true, force: true }));

  for (const [name, version] of [
    ['node-red', 5],
    ['node-red-4', 4],
  ] as const) {
    it(`loads every node into a plain Node-RED ${version} without an error`, async () => {
      const { sets, script } = await loadedNodes(name, folder);
      expect(script).to.equal(200);
      const nodes = sets.filter((n) => n.module === '@phaseloom/node-red');
      expect(nodes.filter((n) => n.err).map((n) => `${n.id}: ${n.err}`)).to.deep.equal([]);
      expect(nodes.flatMap((n) => n.types).sort()).to.deep.equal(Object.keys(manifest['node-red'].nodes).sort());
    });
  }

  it('gives the library to other programs, with types and schemas', async () => {
    const program =
      "const { wrap180 } = require('@phaseloom/node-red/lib'); console.log(wrap180(240), require('@phaseloom/node-red/schemas/reading.schema.json').$id)";
    const { stdout } = await run(process.execPath, ['-e', program], { cwd: folder });
    expect(stdout.trim()).to.equal('-120 https://phaseloom.github.io/schemas/reading.schema.json');
  });
});
