import { expect } from 'chai';
import { formatInstant } from '../../lib/instant';
import { type AnyMsg, nodeRed, type Rig } from '../kit/node-red';

let n = 0;
const file = () => `desk-${process.pid}-${n++}.sqlite`;
const flow = (rig: Rig, ledgerFile: string, more: object = {}) => [
  { id: 'ledger', type: 'phaseloom-ledger', file: ledgerFile },
  {
    id: 'desk',
    type: 'phaseloom-alert-desk',
    ledger: 'ledger',
    holdS: '10',
    perMinute: '1000',
    ...more,
    wires: [['out']],
  },
  rig.probe('out'),
];
const comparison = (verdict: string, atS: number, openPoint = 'P1') => ({
  kind: 'comparison',
  id: `cm-${openPoint}-${verdict}-${atS}`,
  at: formatInstant(1.7e15 + atS * 1e6),
  from: ['rd-1'],
  openPoint,
  verdict,
  landing: 'rolled',
  belongs: [{ left: 'L1', right: 'R2', landedOn: 'R1' }],
  pairs: [],
  probability: 1,
  standingAngleDeg: null,
  standingAngleUpperDeg: null,
  toleranceDeg: 10,
  proof: 'attested-time',
  reasons: [],
});
const states = (messages: AnyMsg[]) => messages.map((m) => [m.payload.transition, m.payload.state]);

describe('alert desk', () => {
  it('raises, acknowledges, clears, and says each once', async () => {
    const rig = await nodeRed();
    await rig.deploy(flow(rig, file()));
    rig.send('desk', { payload: comparison('not-the-same-phase', 0) });
    rig.send('desk', { payload: comparison('not-the-same-phase', 1) });
    await rig.until('out', 1);
    rig.send('desk', { payload: { action: 'acknowledge', key: 'tie-mismatch:P1', by: 'desk 2' } });
    await rig.until('out', 2);
    rig.send('desk', { payload: comparison('not-proven', 100) });
    rig.send('desk', { payload: comparison('same-phase', 5) });
    rig.send('desk', { payload: comparison('same-phase', 200) });
    const all = await rig.until('out', 3);
    expect(states(all)).to.deep.equal([
      ['raised', 'unacknowledged'],
      ['acknowledged', 'acknowledged'],
      ['returned', 'normal'],
    ]);
    expect(all[0]!.payload.text).to.contain('L1 faces R1 and belongs with R2');
    expect(all[0]!.payload.caution).to.match(/no permission to switch/);
  });

  it('keeps alerts over a restart and sends what was saved and not sent', async () => {
    const rig = await nodeRed();
    const ledgerFile = file();
    await rig.deploy(flow(rig, ledgerFile, { perMinute: '1' }));
    rig.send('desk', {
      payload: [comparison('not-the-same-phase', 0, 'P1'), comparison('not-the-same-phase', 0, 'P2')],
    });
    await rig.until('out', 1);
    await new Promise((r) => setTimeout(r, 200));
    expect(rig.got('out').length).to.equal(1);
    await rig.deploy(flow(rig, ledgerFile));
    const after = await rig.until('out', 1);
    expect(after.map((m) => m.payload.key)).to.deep.equal(['tie-mismatch:P2']);
    expect((await rig.node('desk').open()).map((a: AnyMsg) => a.key).sort()).to.deep.equal([
      'tie-mismatch:P1',
      'tie-mismatch:P2',
    ]);
  });

  it('ends a shelved alert at its time', async () => {
    const rig = await nodeRed();
    const ledgerFile = file();
    await rig.deploy(flow(rig, ledgerFile));
    rig.send('desk', { payload: comparison('not-the-same-phase', 0) });
    await rig.until('out', 1);
    rig.send('desk', {
      payload: { action: 'shelve', key: 'tie-mismatch:P1', by: 'op', reason: 'crew on site', minutes: 0.02 },
    });
    const all = await rig.until('out', 3);
    expect(states(all)).to.deep.equal([
      ['raised', 'unacknowledged'],
      ['shelved', 'shelved'],
      ['shelf-ended', 'unacknowledged'],
    ]);
  });

  it('says why an action is refused, and what a message should have been', async () => {
    const rig = await nodeRed();
    await rig.deploy(flow(rig, file()));
    for (const payload of [
      { action: 'acknowledge', key: 'tie-mismatch:none', by: 'op' },
      { action: 'explode' },
      { action: 'shelve', key: 'k', by: 'op' },
      42,
    ])
      rig.send('desk', { payload });
    for (let i = 0; i < 100 && rig.errors.length < 4; i++) await new Promise((r) => setTimeout(r, 20));
    expect(rig.errors.map((e) => e.code).sort()).to.deep.equal([
      'action-unknown',
      'alert-unknown',
      'kind-unexpected',
      'minutes-invalid',
    ]);
  });
});
