import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { runInNewContext } from 'node:vm';
import { expect } from 'chai';
import { makeFrame } from '../../lib';
import type { FrameNode, ReferenceNode } from '../../nodes/kit/config-nodes';
import { at, readAt } from '../kit/feeder13';
import { type FlowNode, nodeRed, type Rig } from '../kit/node-red';

describe('the config nodes frame and reference', () => {
  let rig: Rig;
  before(async () => {
    rig = await nodeRed();
  });

  const deploy = async (frame: Partial<FlowNode>, ...references: Partial<FlowNode>[]) => {
    await rig.deploy([
      { id: 'frame', type: 'phaseloom-frame', ...frame },
      ...references.map((r, i) => ({ id: `ref${i + 1}`, type: 'phaseloom-reference', ...r })),
      { id: 'n', type: 'phaseloom-phase-id', frame: 'frame', wires: [['p']] },
      rig.probe('p'),
    ]);
    return rig.node('frame') as FrameNode;
  };

  it('with nothing set it is the frame of the library', async () => {
    const { frame, problem } = await deploy({});
    expect(problem).to.equal(undefined);
    expect(frame).to.deep.equal(makeFrame());
  });

  it('with what the editor offers, too', async () => {
    const html = readFileSync(join(__dirname, '../../nodes/frame/phaseloom-frame.html'), 'utf8');
    const script = /<script type="text\/javascript">([\s\S]*)<\/script>/.exec(html)![1]!;
    let offered: Record<string, { value?: unknown }> = {};
    const registerType = (_type: string, { defaults }: { defaults: typeof offered }) => {
      offered = defaults;
    };
    const editor: Record<string, unknown> = {
      RED: { nodes: { registerType } },
      document: { getElementById: () => ({}) },
    };
    editor.globalThis = editor;
    runInNewContext(readFileSync(join(__dirname, '../../resources/editor.js'), 'utf8'), editor);
    runInNewContext(script, editor);
    const settings = Object.entries(offered).map(([name, { value }]) => [
      name,
      JSON.parse(JSON.stringify(value ?? '')),
    ]);
    expect(settings).to.have.length.above(20);
    expect((await deploy(Object.fromEntries(settings))).frame).to.deep.equal(makeFrame());
  });

  it('every setting, written as the editor writes it, reaches the frame', async () => {
    const { frame } = await deploy(
      {
        frameId: 'west',
        phase1: 'L1',
        phase2: 'L2',
        phase3: 'L3',
        sequence: '132',
        zeroPhase: 'L3',
        sense: 'lag',
        nominalHz: '50',
        connections: ['phase-neutral', 'phase-phase'],
        readingSdDeg: '1.2',
        driftSdDeg: '2.5',
        unbalanceSdDeg: '0.7',
        grossErrorRate: '0.002',
        identified: '0.98',
        confirmed: '0.9995',
        clockBudgetUs: '50',
        referenceMaxAgeS: '1',
        referenceMaxGapS: '4',
        reference: 'ref1',
        reference8: 'ref2',
      },
      {
        referenceId: 'SUB-1',
        terminal: 'sub/ref',
        phase: 'L2',
        connection: 'phase-phase',
        offsetDeg: '-1.5',
        offsetSdDeg: '0.3',
        path: 'Dyn11 Yy0',
      },
      { referenceId: 'SUB-2', path: 'none' },
    );
    expect(frame).to.deep.equal(
      makeFrame({
        id: 'west',
        phases: ['L1', 'L3', 'L2'],
        zeroPhase: 'L3',
        sense: 'lag',
        nominalHz: 50,
        connections: ['phase-neutral', 'phase-phase'],
        readingSdDeg: 1.2,
        driftSdDeg: 2.5,
        unbalanceSdDeg: 0.7,
        grossErrorRate: 0.002,
        accept: { identified: 0.98, confirmed: 0.9995 },
        clockBudgetUs: 50,
        referenceMaxAgeS: 1,
        referenceMaxGapS: 4,
        references: [
          {
            id: 'SUB-1',
            terminal: 'sub/ref',
            phase: 'L2',
            connection: 'phase-phase',
            offsetDeg: -1.5,
            offsetSdDeg: 0.3,
            path: ['Dyn11', 'Yy0'],
          },
          { id: 'SUB-2', path: [] },
        ],
      }),
    );
  });

  it('takes a list of references from a flow written by hand', async () => {
    const { frame } = await deploy({ references: ['ref1'] }, { referenceId: 'SUB-1' });
    expect(frame!.references.map((r) => r.id)).to.deep.equal(['SUB-1']);
  });

  const troubles: [string, Partial<FlowNode>, RegExp, ...Partial<FlowNode>[]][] = [
    ['two labels alike', { phase1: 'A', phase2: 'A' }, /phases must be three different labels/],
    ['a zero phase that is no phase', { zeroPhase: 'X' }, /zeroPhase must be one of A, B, C, got X/],
    ['a number out of bounds', { nominalHz: '5' }, /nominalHz is "5"; it must be a number from 10 to 500/],
    ['no number', { clockBudgetUs: 'much' }, /clockBudgetUs is "much"; it must be a number/],
    ['a word that is none of ours', { sense: 'left' }, /sense is "left"; it must be one of lead, lag/],
    ['an unknown connection', { connections: ['star'] }, /connections names "star"; it must be among phase-neutral/],
    ['acceptances in the wrong order', { identified: 0.9999 }, /0.5 < identified <= confirmed < 1/],
    ['a reference that does not exist', { reference: 'gone' }, /a chosen reference does not exist/],
    [
      'a reference chosen twice',
      { reference: 'ref1', reference2: 'ref1' },
      /SUB is chosen twice/,
      { referenceId: 'SUB' },
    ],
    [
      'a reference on an unknown phase',
      { reference: 'ref1' },
      /reference SUB: phase must be one of A, B, C, got L1/,
      { referenceId: 'SUB', phase: 'L1' },
    ],
    ['a reference without an id', { reference: 'ref1' }, /reference id is ""; it must be a name of its own/, {}],
    ['a reference called utc', { reference: 'ref1' }, /reference id is "utc"/, { referenceId: 'utc' }],
    [
      'a wrong vector group',
      { reference: 'ref1' },
      /reference SUB: path: Dyn2: 2 o'clock is not possible/,
      { referenceId: 'SUB', path: 'Dyn2' },
    ],
  ];
  for (const [what, frame, why, ...references] of troubles) {
    it(`${what}: says what is wrong and what would be right, to the node that uses it and to each message`, async () => {
      const made = await deploy(frame, ...references);
      expect(made.frame).to.equal(undefined);
      expect(made.problem).to.match(why);
      expect(rig.status('n')).to.deep.equal({ fill: 'red', shape: 'ring', text: 'check the settings' });
      rig.send('n', { payload: readAt('671/1', { atUs: at(0) }) });
      await new Promise((r) => setTimeout(r, 20));
      expect(rig.errors.map((e) => [e.node, e.code])).to.deep.equal([['n', 'config']]);
      expect(rig.errors[0]!.message).to.match(why);
    });
  }

  it('a reference by itself says what is wrong with it', async () => {
    await deploy({}, { referenceId: 'SUB', offsetDeg: '400' });
    expect((rig.node('ref1') as ReferenceNode).problem).to.equal(
      'offsetDeg is "400"; it must be a number from -360 to 360',
    );
  });

  it('a changed reference reaches the nodes that use it, by way of the frame, when only changed nodes are deployed', async () => {
    const flow = (offsetDeg: number) => [
      { id: 'ref', type: 'phaseloom-reference', referenceId: 'SUB', offsetDeg },
      { id: 'frame', type: 'phaseloom-frame', reference: 'ref' },
      { id: 'n', type: 'phaseloom-phase-id', frame: 'frame', wires: [['p']] },
      rig.probe('p'),
    ];
    const reading = readAt('671/1', { atUs: at(0) });
    await rig.deploy(flow(0));
    rig.send('n', { payload: reading });
    const before = (await rig.next('p')).payload;
    await rig.deploy(flow(-120), 'nodes');
    rig.send('n', { payload: reading });
    const after = (await rig.next('p')).payload;
    expect([before.phase, after.phase]).to.deep.equal(['A', 'C']);
    expect(after.frame.revision).not.to.equal(before.frame.revision);
    expect(after.from).to.deep.equal(before.from);
  });
});
