import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from 'chai';
import type { NodeAPI } from 'node-red';
import { Expression } from '../../nodes/kit/expression';
import type { Trouble } from '../../nodes/kit/trouble';

const RED = { util: require('@node-red/util').util } as unknown as NodeAPI;

/** An expression of a node whose global context holds these functions, as functionGlobalContext of the settings gives them. */
function expression(text: string, functions: Record<string, unknown> = {}): Expression {
  const get = (name: string, _store: unknown, told: (error: null, value: unknown) => void) =>
    told(null, functions[name]);
  return new Expression(RED, { id: 'n', context: () => ({ global: { get }, flow: { get } }) } as never, text);
}

describe('a JSONata expression within bounds', function () {
  this.timeout(30_000);

  it('sees the message, and the variables of this evaluation', async () => {
    const sum = expression('payload.n + $offset');
    expect(await sum.evaluate({ payload: { n: 1 } }, { offset: 10 })).to.equal(11);
    expect(await sum.evaluate({ payload: { n: 2 } }, { offset: 20 })).to.equal(22);
  });

  it('calls a function by itself a thousand times, and not without end', async () => {
    const down = expression('($down := function($n) { $n = 0 ? 0 : 1 + $down($n - 1) }; $down(payload))');
    expect(await down.evaluate({ payload: 1000 })).to.equal(1000);
    const cause = (await down.evaluate({ payload: -1 }).catch((e) => e)) as Trouble;
    expect([cause.code, cause.message]).to.deep.equal(['expression-endless', 'it goes more than 10000 parts deep']);
    expect(await down.evaluate({ payload: 7 }), 'the next is evaluated as ever').to.equal(7);
  });

  it('gives the event loop its turns, also between many evaluations that are short', async () => {
    const work = expression('$sum([1..200].($ * $))');
    let turns = 0;
    let isOver = false;
    const turn = () => {
      turns++;
      if (!isOver) setImmediate(turn);
    };
    setImmediate(turn);
    for (const endMs = performance.now() + 500; performance.now() < endMs; ) await work.evaluate({});
    isOver = true;
    expect(turns).to.be.at.least(5);
  });

  it('ends for good when it is given up, whatever it waited for comes later', async () => {
    let calls = 0;
    const functions = { wait: () => sleep(5500), count: () => ++calls };
    const endless = expression(
      `($wait := $globalContext('wait'); $count := $globalContext('count');
        payload = 'now' ? 'done' : ($wait(); $again := function() { ($count(); $again()) }; $again()))`,
      functions,
    );
    const cause = (await endless.evaluate({ payload: 'later' }).catch((e) => e)) as Trouble;
    expect([cause.code, cause.message]).to.deep.equal(['expression-endless', 'it has not ended after 5 s']);
    expect(await endless.evaluate({ payload: 'now' })).to.equal('done');
    await sleep(1200);
    expect(calls).to.equal(0);
  });
});
