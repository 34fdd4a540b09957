import { resolve } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from 'chai';
import { nodeRed } from '../kit/node-red';

/** The nodes run what was built, and count there. */
const built = require(
  resolve(__dirname, '../../dist/nodes/kit/under-way.js'),
) as typeof import('../../nodes/kit/under-way');

/** Work of so many records that ends when told. */
function work(records: number): () => Promise<void> {
  let end: () => void = () => undefined;
  const done = built.underWay(
    records,
    new Promise<void>((resolveDone) => {
      end = resolveDone;
    }),
  );
  return async () => {
    end();
    await done;
  };
}
const reading = (n: number) => ({ terminal: `s/${n}`, takenAt: '2026-05-04T10:15:30Z', angleDeg: n, against: 'utc' });

describe('what flows have under way', () => {
  it('counts records until they are finished, also those that fail', async () => {
    const before = built.recordsUnderWay();
    const end = work(30);
    const failed = built.underWay(5, Promise.reject(new Error('no'))).catch(() => undefined);
    expect(built.recordsUnderWay() - before).to.equal(35);
    await sleep(20);
    expect(built.oldestUnderWayMs()).to.be.at.least(15);
    await failed;
    await end();
    expect(built.recordsUnderWay() - before).to.equal(0);
  });

  it('keeps readings in from sending more, which it has stored, until there is room', async () => {
    const rig = await nodeRed();
    await rig.deploy([
      { id: 'ledger', type: 'phaseloom-ledger', file: ':memory:' },
      { id: 'in', type: 'phaseloom-readings-in', broker: '', ledger: 'ledger', topics: [], wires: [['out'], []] },
      rig.probe('out'),
    ]);
    const end = work(8000);
    rig.send('in', { payload: [reading(1), reading(2)] });
    const ledger = await rig.node('ledger').ready();
    for (let i = 0; i < 200 && (await ledger.health()).readings < 2; i++) await sleep(20);
    expect((await ledger.health()).readings).to.equal(2);
    await sleep(200);
    expect(rig.got('out')).to.deep.equal([]);
    await end();
    expect((await rig.until('out', 2)).map((m) => m.payload.terminal)).to.deep.equal(['s/1', 's/2']);
  });

  it('keeps nobody from closing', async () => {
    const rig = await nodeRed();
    const end = work(8000);
    await rig.deploy([
      { id: 'ledger', type: 'phaseloom-ledger', file: ':memory:' },
      { id: 'in', type: 'phaseloom-readings-in', broker: '', ledger: 'ledger', topics: [], wires: [[], []] },
    ]);
    rig.send('in', { payload: reading(3) });
    await sleep(200);
    const began = performance.now();
    await rig.deploy([]);
    expect(performance.now() - began).to.be.below(5000);
    await end();
  });
});
