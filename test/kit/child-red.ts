/** A Node-RED in a process of its own, which can be killed and started again on the same user directory. */
import { type ChildProcess, spawn } from 'node:child_process';
import { once } from 'node:events';
import { writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { freePort } from './broker';
import { type FlowNode, makeUserDir } from './node-red';

const LOG_DEADLINE_MS = 30_000;

export interface ChildRed {
  readonly userDir: string;
  readonly url: string;
  start(): Promise<void>;
  /** what it wrote to its log since it was last started */
  log(): string;
  /** resolves when this stands in the log */
  logged(text: string): Promise<void>;
  /** SIGKILL: nothing is closed, committed or said */
  kill(): Promise<void>;
}

/** @param preload a script that the process loads before anything else */
export async function childRed(flow: readonly FlowNode[], preload?: string): Promise<ChildRed> {
  const userDir = makeUserDir();
  const port = await freePort();
  const nodes = flow.map((n) => (n.wires ? { z: 'tab', x: 100, y: 100, ...n } : n));
  writeFileSync(join(userDir, 'flows.json'), JSON.stringify([{ id: 'tab', type: 'tab', label: 'test' }, ...nodes]));
  const red = resolve(__dirname, '../../node_modules/node-red/red.js');
  let child: ChildProcess | undefined;
  let log = '';
  return {
    userDir,
    url: `http://127.0.0.1:${port}`,
    async start() {
      const begun = spawn(
        process.execPath,
        [...(preload ? ['--require', preload] : []), red, '-u', userDir, '-p', String(port), '-D', 'uiHost=127.0.0.1'],
        {
          stdio: ['ignore', 'pipe', 'pipe'],
        },
      );
      child = begun;
      log = '';
      begun.stderr!.on('data', (d) => (log += d));
      const up = new Promise<void>((resolveUp, fail) => {
        begun.stdout!.on('data', (d) => {
          log += d;
          if (log.includes('Started flows')) resolveUp();
        });
        begun.once('exit', (code) => fail(new Error(`Node-RED ended with ${code}:\n${log}`)));
      });
      await up;
    },
    log: () => log,
    async logged(text) {
      for (const end = Date.now() + LOG_DEADLINE_MS; !log.includes(text); await sleep(20)) {
        if (Date.now() > end) throw new Error(`${text}: not in the log within ${LOG_DEADLINE_MS} ms:\n${log}`);
      }
    },
    async kill() {
      if (!child || child.exitCode !== null || child.signalCode !== null) return;
      const gone = once(child, 'exit');
      child.kill('SIGKILL');
      await gone;
    },
  };
}
