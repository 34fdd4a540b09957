import { expect } from 'chai';
import { nodeRed } from '../kit/node-red';

describe('the headless Node-RED', () => {
  it('runs a flow of core nodes', async () => {
    const rig = await nodeRed();
    await rig.deploy([
      { id: 'f', type: 'function', func: 'msg.payload *= 2; return msg;', outputs: 1, wires: [['p']] },
      rig.probe('p'),
    ]);
    rig.send('f', { payload: 21 });
    expect((await rig.next('p')).payload).to.equal(42);
  });
});
