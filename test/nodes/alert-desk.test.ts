import { join } from 'node:path';
import { expect } from 'chai';
import { formatInstant, parseInstant } from '../../lib/instant';
import type { Comparison } from '../../lib/records';
import { type AnyMsg, nodeRed, type Rig } from '../kit/node-red';
import { comparisonAt, rejected } from './alert-samples';

/** The outside these are held against is a real Node-RED and a real ledger file; the life cycle itself is tested in test/lib. */
let n = 0;
const file = () => `desk-${process.pid}-${n++}.sqlite`;
const flow = (rig: Rig, ledgerFile: string, more: object = {}) => [
  { id: 'ledger', type: 'phaseloom-ledger', file: ledgerFile },
  {
    id: 'desk',
    type: 'phaseloom-alert-desk',
    name: 'desk one',
    ledger: 'ledger',
    onDelayS: '0',
    holdS: '10',
    perMinute: '1000',
    ...more,
    wires: [['out']],
  },
  rig.probe('out'),
];
const LONG = 30_000;
const steps = (messages: AnyMsg[]) =>
  messages.map((m) => `${m.payload.key} ${m.payload.transition} ${m.payload.state}`);
const pause = (ms: number) => new Promise((r) => setTimeout(r, ms));
async function until(holds: () => boolean | Promise<boolean>, what: string): Promise<void> {
  for (const end = Date.now() + LONG; Date.now() < end; await pause(20)) if (await holds()) return;
  throw new Error(`${what}: not within ${LONG} ms`);
}
/** Sends a message and waits until the desk is done with it. */
async function give(rig: Rig, msg: AnyMsg): Promise<void> {
  const seen = rig.errors.length;
  const before = (await history(rig)).length;
  rig.send('desk', msg);
  await until(async () => (await history(rig)).length > before || rig.errors.length > seen, 'a transition');
}
const history = async (rig: Rig) =>
  (await (await rig.node('ledger').ready()).records({ kinds: ['alert'], limit: 10_000 })).records;
const mismatch = (atS: number, openPoint = 'P1', more: Partial<Comparison> = {}) =>
  comparisonAt(atS, openPoint, 'not-the-same-phase', more);
const same = (atS: number, openPoint = 'P1') => comparisonAt(atS, openPoint, 'same-phase');

describe('alert desk', () => {
  it('raises, acknowledges, clears; says each once, and nothing of what is not proven', async () => {
    const rig = await nodeRed();
    await rig.deploy(flow(rig, file()));
    await give(rig, { payload: mismatch(0), reading: { id: 'rd-1' }, job: 'job 4' });
    rig.send('desk', { payload: mismatch(1) });
    await rig.until('out', 1, LONG);
    await give(rig, { payload: { action: 'acknowledge', key: 'tie-mismatch:P1', by: 'desk 2' } });
    rig.send('desk', { payload: comparisonAt(100, 'P1', 'not-proven') });
    await give(rig, { payload: same(5) });
    await give(rig, { payload: same(200) });
    const all = await rig.until('out', 3, LONG);
    expect(steps(all)).to.deep.equal([
      'tie-mismatch:P1 raised unacknowledged',
      'tie-mismatch:P1 acknowledged acknowledged',
      'tie-mismatch:P1 returned normal',
    ]);
    expect(all[0]!.payload.text).to.contain('L1 faces R1 and belongs with R2');
    expect(all[0]!.payload.caution).to.match(/no permission to switch/);
    expect([all[0]!.topic, all[0]!.job, all[0]!.reading.id]).to.deep.equal(['tie-mismatch:P1', 'job 4', 'rd-1']);
  });

  it('shows how many are open and how many nobody has seen, and lets the board ask and act', async () => {
    const rig = await nodeRed();
    await rig.deploy(flow(rig, file()));
    rig.send('desk', { payload: [mismatch(0, 'P1'), mismatch(0, 'P2')] });
    await rig.until('out', 2, LONG);
    await until(() => rig.status('desk')?.text === '2 open, 2 new', 'status');
    const desk = rig.node('desk');
    const acknowledged = await desk.act({ action: 'acknowledge', key: 'tie-mismatch:P1', by: 'board' });
    expect([acknowledged.state, acknowledged.by]).to.deep.equal(['acknowledged', 'board']);
    await until(() => rig.status('desk')?.text === '2 open, 1 new', 'status');
    expect((await desk.open()).map((a: AnyMsg) => a.state)).to.deep.equal(['acknowledged', 'unacknowledged']);
    const refused = await desk
      .act({ action: 'acknowledge', key: 'tie-mismatch:P1', by: 'board' })
      .catch((e: AnyMsg) => e);
    expect([refused.code, refused.message]).to.deep.equal([
      'state-does-not-allow',
      'tie-mismatch:P1: acknowledge is not possible while the alert is acknowledged; it is for unacknowledged, returned-unacknowledged',
    ]);
  });

  it('keeps alerts over a restart and sends what was saved and not sent, each once', async () => {
    const rig = await nodeRed();
    const ledgerFile = file();
    await rig.deploy(flow(rig, ledgerFile, { perMinute: '1' }));
    rig.send('desk', { payload: [mismatch(0, 'P1'), mismatch(0, 'P2')] });
    await until(async () => (await history(rig)).length >= 2, 'both saved');
    const before = await rig.until('out', 1, LONG);
    await pause(300);
    const sent = before.map((m) => m.payload.key).filter((key) => key.startsWith('tie-mismatch'));
    expect(sent.length).to.equal(1);
    await rig.deploy(flow(rig, ledgerFile));
    await rig.until('out', 1, LONG);
    await pause(500);
    const after = rig
      .got('out')
      .map((m) => m.payload.key)
      .filter((key) => key.startsWith('tie-mismatch'));
    expect([...sent, ...after].sort()).to.deep.equal(['tie-mismatch:P1', 'tie-mismatch:P2']);
    expect((await rig.node('desk').open()).map((a: AnyMsg) => a.key)).to.include.members([
      'tie-mismatch:P1',
      'tie-mismatch:P2',
    ]);
  });

  it('ends a shelved alert at its time, over a restart too', async () => {
    const rig = await nodeRed();
    const ledgerFile = file();
    await rig.deploy(flow(rig, ledgerFile));
    await give(rig, { payload: mismatch(0) });
    const shelve = { action: 'shelve', key: 'tie-mismatch:P1', by: 'op', reason: 'crew on site', minutes: 0.05 };
    const askedUs = Date.now() * 1000;
    await give(rig, { payload: shelve });
    await rig.until('out', 2, LONG);
    await pause(500);
    await rig.deploy(flow(rig, ledgerFile));
    const [ended] = await rig.until('out', 1, LONG);
    expect(steps([ended!])).to.deep.equal(['tie-mismatch:P1 shelf-ended unacknowledged']);
    const end = (await history(rig)).at(-1)!;
    expect(parseInstant(end.at) - askedUs).to.be.at.least(3e6);
  });

  it('lets an off-delay run on over a restart', async () => {
    const rig = await nodeRed();
    const ledgerFile = file();
    await rig.deploy(flow(rig, ledgerFile, { holdS: '2' }));
    await give(rig, { payload: mismatch(0) });
    await give(rig, { payload: same(1) });
    await rig.deploy(flow(rig, ledgerFile, { holdS: '2' }));
    // What had no time to arrive before the restart is sent again first.
    await until(
      () => steps(rig.got('out')).at(-1) === 'tie-mismatch:P1 returned returned-unacknowledged',
      'the end of the off-delay',
    );
  });

  it('raises after the on-delay, over a restart too, and not what was contradicted within it', async () => {
    const rig = await nodeRed();
    const ledgerFile = file();
    await rig.deploy(flow(rig, ledgerFile, { onDelayS: '2' }));
    await give(rig, { payload: mismatch(0, 'P1') });
    await give(rig, { payload: mismatch(0, 'P2') });
    await give(rig, { payload: same(1, 'P2') });
    expect(rig.got('out')).to.deep.equal([]);
    await rig.deploy(flow(rig, ledgerFile, { onDelayS: '0' }));
    const all = await rig.until('out', 1, LONG);
    await pause(300);
    expect(steps(all)).to.deep.equal(['tie-mismatch:P1 raised unacknowledged']);
    expect((await rig.node('desk').open()).length).to.equal(1);
  });

  it('does not flap: forty contradicting readings within seconds make one alert and no more', async () => {
    const rig = await nodeRed();
    await rig.deploy(flow(rig, file()));
    for (let i = 0; i < 40; i++) rig.send('desk', { payload: i % 2 ? same(i / 10) : mismatch(i / 10) });
    await rig.until('out', 1, LONG);
    await until(
      async () => (await history(rig)).at(-1)?.pending?.evidenceAt === formatInstant(1.7e15 + 3.9e6),
      'the last',
    );
    await pause(300);
    expect(steps(rig.got('out'))).to.deep.equal(['tie-mismatch:P1 raised unacknowledged']);
  });

  it('tells a flood once, holds back what is too much, forgets none, and lets high priority go first', async () => {
    const rig = await nodeRed();
    const ledgerFile = file();
    await rig.deploy(flow(rig, ledgerFile, { perMinute: '5' }));
    const low = Array.from({ length: 30 }, (_, i) => rejected(i, `P-${i}`));
    rig.send('desk', { payload: low });
    await until(async () => (await history(rig)).length >= 31, 'all saved, and the notice');
    rig.send('desk', { payload: mismatch(0) });
    const [notice] = (await rig.until('out', 6, LONG)).filter((m) => m.payload.category === 'alert-flood');
    expect(notice!.payload.text).to.match(/^desk one: \d+ alert messages are held back .*\d+ instrument-doubt \(low\)/);
    await until(async () => (await rig.node('desk').open()).length === 32, 'all and the notice are open');
    await until(() => /^32 open, \d+ held$/.test(rig.status('desk')?.text ?? ''), 'status');
    const first = rig.got('out').filter((m) => m.payload.category !== 'alert-flood');
    expect(first.length).to.equal(5);
    await rig.deploy(flow(rig, ledgerFile, { perMinute: '1000', holdS: '0' }));
    await until(() => rig.got('out').filter((m) => m.payload.category !== 'alert-flood').length >= 26, 'the rest');
    const rest = rig.got('out').filter((m) => m.payload.category !== 'alert-flood');
    expect(rest[0]!.payload.key, 'high priority first').to.equal('tie-mismatch:P1');
    const all = [...first, ...rest].map((m) => m.payload.id);
    expect([all.length, new Set(all).size]).to.deep.equal([31, 31]);
    await until(
      () => rig.got('out').some((m) => m.payload.category === 'alert-flood' && m.payload.transition === 'returned'),
      'the end of the flood',
    );
  });

  it('is not cleared by a finding that comes late when a newer one in the ledger says otherwise', async () => {
    const rig = await nodeRed();
    await rig.deploy(flow(rig, file()));
    await give(rig, { payload: mismatch(0) });
    const ledger = await rig.node('ledger').ready();
    await ledger.keep(mismatch(300));
    rig.send('desk', { payload: same(200) });
    await pause(300);
    expect((await rig.node('desk').open()).map((a: AnyMsg) => a.active)).to.deep.equal([true]);
    await ledger.keep(same(400));
    await give(rig, { payload: same(400) });
    expect((await rig.node('desk').open()).map((a: AnyMsg) => a.active)).to.deep.equal([false]);
  });

  it('calls again when the fault is another one, and blames an instrument once, wherever it was used', async () => {
    const rig = await nodeRed();
    await rig.deploy(flow(rig, file()));
    await give(rig, { payload: mismatch(0) });
    await give(rig, { payload: { action: 'acknowledge', key: 'tie-mismatch:P1', by: 'op' } });
    const belongs = [{ left: 'L1', right: 'R3', landedOn: 'R1' }];
    await give(rig, { payload: mismatch(60, 'P1', { belongs, landing: 'swapped' }) });
    await rig.until('out', 3, LONG);
    await give(rig, { payload: [rejected(1, 'P-07', 'S1/1'), rejected(2, 'P-07', 'S1/2')] });
    expect(steps(await rig.until('out', 4, LONG))).to.deep.equal([
      'tie-mismatch:P1 raised unacknowledged',
      'tie-mismatch:P1 acknowledged acknowledged',
      'tie-mismatch:P1 changed unacknowledged',
      'instrument-doubt:P-07 raised unacknowledged',
    ]);
  });

  it('says why an action is refused, and what a message should have been; the rest of a batch goes on', async () => {
    const rig = await nodeRed();
    await rig.deploy(flow(rig, file()));
    for (const payload of [
      { action: 'acknowledge', key: 'tie-mismatch:none', by: 'op' },
      { action: 'explode' },
      { action: 'shelve', key: 'k', by: 'op' },
      { action: 'comment', key: 'k' },
      42,
      { ...mismatch(0), verdict: 'perhaps' },
      [mismatch(0), { kind: 'reading' }],
    ])
      rig.send('desk', { payload });
    await until(() => rig.errors.length >= 7, 'errors');
    expect(rig.errors.map((e) => e.code).sort()).to.deep.equal([
      'action-unknown',
      'alert-unknown',
      'batch-in-part',
      'by-missing',
      'kind-unexpected',
      'minutes-invalid',
      'record-invalid',
    ]);
    const told = rig.errors.find((e) => e.code === 'record-invalid')!.message;
    expect(told).to.match(/^msg\.payload\/verdict of a comparison: /);
    expect((await rig.until('out', 1, LONG))[0]!.payload.key).to.equal('tie-mismatch:P1');
  });

  it('says what is missing where there is no ledger, or one that cannot be opened', async () => {
    const rig = await nodeRed();
    await rig.deploy(flow(rig, file(), { ledger: '' }));
    expect(rig.status('desk')).to.include({ fill: 'red', text: 'not configured' });
    rig.send('desk', { payload: mismatch(0) });
    await until(() => rig.errors.length > 0, 'an error');
    expect(rig.errors[0]!.message).to.equal('no ledger is chosen: alerts must outlive a restart');
    await rig.deploy(flow(rig, ' '));
    rig.send('desk', { payload: mismatch(0) });
    await until(() => rig.errors.length > 0, 'an error');
    expect(rig.errors[0]!.message).to.match(/^the ledger has no file/);
    expect(rig.status('desk')).to.include({ fill: 'red', text: 'ledger not open' });
  });

  it('goes on by itself when the ledger can be opened later', async () => {
    const { mkdirSync } = await import('node:fs');
    const rig = await nodeRed();
    const folder = `later-${process.pid}`;
    await rig.deploy(flow(rig, join(folder, 'ledger.sqlite')));
    await until(() => rig.status('desk')?.text === 'ledger not open', 'status');
    rig.send('desk', { payload: mismatch(0) });
    mkdirSync(join(rig.userDir, folder));
    expect(steps(await rig.until('out', 1, LONG))).to.deep.equal(['tie-mismatch:P1 raised unacknowledged']);
    expect(rig.errors).to.deep.equal([]);
  });
});
