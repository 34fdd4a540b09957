import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from 'chai';
import type { LaneReading } from '../../nodes/kit/sharing';
import { TakenOrder } from '../../nodes/readings-in/taken-order';
import { reading } from './ledger-samples';

const GATHER_MS = 200;
const inLane = (lane: string, seq: number, seconds: number): LaneReading => ({
  lane,
  seq,
  reading: reading('s/1', seconds),
  source: 'test',
});
const all = () => true;
const seqs = (due: readonly LaneReading[]) => due.map(({ seq }) => seq);

describe('readings of several workers in the order in which they were taken', () => {
  it('wait for those taken before them, and leave in the order of taking', async () => {
    const order = new TakenOrder(GATHER_MS);
    order.add([inLane('a', 1, 5)]);
    expect(order.due(all)).to.deep.equal([]);
    expect(order.nextMs(all)).to.be.within(1, GATHER_MS);
    await sleep(GATHER_MS + 5);
    order.add([inLane('b', 2, 3), inLane('a', 3, 9)]);
    expect(seqs(order.due(all)), 'the one taken later has not waited yet').to.deep.equal([2, 1]);
    await sleep(order.nextMs(all)! + 5);
    expect(seqs(order.due(all))).to.deep.equal([3]);
    expect(order.nextMs(all)).to.equal(undefined);
  });

  it('need no looking again while their lane may not be sent, and are sent when it may', async () => {
    const order = new TakenOrder(GATHER_MS);
    order.add([inLane('away', 1, 1)]);
    await sleep(GATHER_MS + 5);
    order.add([inLane('mine', 2, 2)]);
    const mine = (lane: string) => lane === 'mine';
    expect(order.due(mine)).to.deep.equal([]);
    await sleep(GATHER_MS + 5);
    expect(seqs(order.due(mine))).to.deep.equal([2]);
    expect(order.nextMs(mine), 'nothing that a timer could wait for').to.equal(undefined);
    expect(seqs(order.due(all))).to.deep.equal([1]);
  });
});
