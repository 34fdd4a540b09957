import { expect } from 'chai';
import type { Rejection } from '../../lib/records';
import { at, feeder13Config, readAt } from '../kit/feeder13';
import { admitted, kept, newLedger } from '../kit/ledger-in-flow';
import { nodeRed, type Rig } from '../kit/node-red';

describe('the node screen', () => {
  let rig: Rig;
  before(async () => {
    rig = await nodeRed();
  });

  const screen = (over: object = {}, ledger?: object) => [
    ...feeder13Config(),
    ...(ledger ? [ledger as never] : []),
    {
      id: 'n',
      type: 'phaseloom-screen',
      frame: 'frame',
      network: 'network',
      ...(ledger ? { ledger: 'ledger' } : {}),
      ...over,
      wires: [['fit'], ['aside']],
    },
    rig.probe('fit'),
    rig.probe('aside'),
  ];
  const deploy = (over: object = {}, ledger?: object) => rig.deploy(screen(over, ledger));
  const field = (over: object = {}, seconds = 0) => readAt('671/1', { atUs: at(seconds), over });
  const codes = (msg: { payload: Rejection }) => msg.payload.problems.map((p) => p.code);

  it('passes a sound reading with its grade, the message otherwise as it was', async () => {
    await deploy();
    const reading = field();
    rig.send('n', { payload: reading, topic: 'readings/x', mine: 7 });
    const msg = await rig.next('fit');
    expect(msg.payload).to.deep.equal(reading);
    expect([msg.topic, msg.mine, msg.reading.id]).to.deep.equal(['readings/x', 7, reading.id]);
    expect(msg.fitness).to.deep.equal({
      grade: 'good',
      uses: { absolutePhase: true, relative: true, magnitude: true },
      reasons: [],
      clockErrorUs: 1,
      notices: [],
    });
    while (rig.status('n')!.text === 'no readings yet') await new Promise((r) => setTimeout(r, 50));
    expect(rig.status('n')).to.deep.equal({ fill: 'green', shape: 'dot', text: '1 of 1 fit' });
  });

  it('turns aside what fails its self-test, as a rejection with place, what and what would be right', async () => {
    await deploy();
    rig.send('n', { payload: field({ instrument: { id: 'P', selfTest: 'fail' } }), topic: 'readings/x' });
    const msg = await rig.next('aside');
    expect(msg.payload).to.include({ kind: 'rejection', stage: 'screen', terminal: '671/1', source: 'readings/x' });
    expect(msg.payload.problems[0]).to.deep.equal({
      at: '/instrument/selfTest',
      code: 'self-test-failed',
      what: 'instrument P failed its self-test',
      expected: 'read again with an instrument that passes',
    });
    expect([msg.reading.id, msg.fitness.grade]).to.deep.equal([msg.payload.from[0], 'refused']);
    expect(rig.got('fit')).to.deep.equal([]);
  });

  it('holds a voltage against the nominal voltage in the network', async () => {
    await deploy();
    rig.send('n', { payload: field({ voltageV: 4160 }) });
    const { fitness } = await rig.next('fit');
    expect([fitness.grade, fitness.reasons[0].code, fitness.uses.absolutePhase]).to.deep.equal([
      'usable',
      'voltage-implausible',
      false,
    ]);
  });

  it('lets through good readings only, when told so', async () => {
    await deploy({ leastGrade: 'good' });
    rig.send('n', { payload: field({ clock: { source: 'unknown' } }) });
    rig.send('n', { payload: field({}, 1) });
    expect(codes((await rig.next('aside')) as never)).to.deep.equal(['time-quality-unknown']);
    await rig.next('fit');
  });

  it('has limits for battery, calibration, age and clocks that run ahead', async () => {
    const now = Date.now() * 1000;
    const instrument = (more: object) => ({
      instrument: { id: 'P', batteryPct: 50, calibratedOn: '2026-01-01', ...more },
    });
    const recent = (over: object, aheadS = 0) => readAt('671/1', { atUs: now + aheadS * 1e6, over });
    const cases = [
      ['battery-low', { batteryLowPct: 60 }, recent(instrument({}))],
      ['calibration-out-of-date', { calibrationDays: 1 }, recent(instrument({ calibratedOn: '2020-01-01' }))],
      ['calibration-unknown', { calibrationDays: '90' }, recent({ instrument: { id: 'P' } })],
      ['stale', { maxAgeS: 60 }, recent({}, -100)],
      ['stamp-in-future', {}, recent({}, 100)],
    ] as const;
    for (const [code, settings, reading] of cases) {
      await deploy(settings);
      rig.send('n', { payload: reading });
      expect(codes((await rig.next('aside')) as never)).to.deep.equal([code]);
      await deploy({ batteryLowPct: 0, calibrationDays: '', maxAgeS: '', futureToleranceS: 1000 });
      rig.send('n', { payload: reading });
      await rig.next('fit');
    }
  });

  it('splits a batch in two, each with its grades in step', async () => {
    await deploy();
    const [a, b, c] = [field({}, 0), field({ instrument: { id: 'P', batteryPct: 1 } }, 1), field({}, 2)];
    rig.send('n', { payload: [a, b, c], phaseloom: { seq: [1, 2, 3] } });
    const [fit, aside] = [await rig.next('fit'), await rig.next('aside')];
    expect(fit.payload.map((r: { id: string }) => r.id)).to.deep.equal([a.id, c.id]);
    expect(fit.fitness.map((f: { grade: string }) => f.grade)).to.deep.equal(['good', 'good']);
    expect(fit.phaseloom.seq).to.deep.equal([1, 3]);
    expect(aside.payload.map((r: Rejection) => r.from[0])).to.deep.equal([b.id]);
  });

  it('turns aside the same measurement under another id, but not the same message again', async () => {
    await deploy();
    const reading = field();
    rig.send('n', { payload: reading });
    rig.send('n', { payload: reading });
    rig.send('n', { payload: field({ note: 'sent again by the office' }) });
    expect(codes((await rig.next('aside')) as never)).to.deep.equal(['duplicate']);
    expect(rig.got('fit')).to.have.length(2);
  });

  it('notices that readings of an instrument have not come', async () => {
    await deploy();
    for (const [sequence, s] of [
      [4, 0],
      [7, 1],
    ] as const)
      rig.send('n', { payload: field({ instrument: { id: 'P', sequence } }, s) });
    const [first, second] = await rig.until('fit', 2);
    expect(first!.fitness.notices).to.deep.equal([]);
    expect(second!.fitness).to.deep.include({ grade: 'good' });
    expect(second!.fitness.notices[0].why).to.equal('readings 5 to 6 have not come from instrument P');
  });

  it('keeps what it turns aside in the ledger before it is sent, once', async () => {
    await deploy({}, newLedger());
    const [message] = await admitted(rig, field({ instrument: { id: 'P', selfTest: 'fail' } }));
    rig.send('n', message!);
    rig.send('n', message!);
    await rig.until('aside', 2);
    const rejections = await kept<Rejection>(rig, 'rejection');
    expect(rejections).to.deep.equal([(await rig.next('aside')).payload]);
  });

  it('knows a measurement from before a restart by the ledger', async () => {
    const ledger = newLedger();
    await deploy({}, ledger);
    await admitted(rig, field());
    const [message] = await admitted(rig, field({ note: 'sent again by the office' }));
    await deploy({}, ledger);
    rig.send('n', message!);
    expect(codes((await rig.next('aside')) as never)).to.deep.equal(['duplicate']);
  });
});
