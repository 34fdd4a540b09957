/** Sends the instruments out, in their own process, and hears from them. */
import { fork } from 'node:child_process';
import { resolve } from 'node:path';
import type { Orders, Returns } from './instruments';

export interface Outing {
  /** how many were published, as last told */
  readonly published: number;
  readonly returns: Promise<Returns>;
}

export function sendOut(orders: Orders): Outing {
  const child = fork(resolve(__dirname, 'instruments.ts'), { execArgv: ['--require', 'tsx/cjs'] });
  const outing = { published: 0, returns: undefined as unknown as Promise<Returns> };
  outing.returns = new Promise((done, fail) => {
    child.on('message', (said: { published?: number; returns?: Returns }) => {
      if (said.published !== undefined) outing.published = said.published;
      if (said.returns) done(said.returns);
    });
    child.once('exit', (code) => fail(new Error(`the instruments ended with ${code}`)));
  });
  child.send(orders);
  return outing;
}
