import { expect } from 'chai';
import { problemsOf } from '../../lib';
import { nodeRed, type Rig } from '../kit/node-red';
import { PEAK, sampled, steady } from '../kit/waves';

// Three cosines 120 degrees apart, the first peaking at the UTC second: 0, -120 and 120 degrees (IEC/IEEE 60255-118-1, from memory).
const windowAt = (deg: number, over: object = {}) => ({
  terminal: 'example/S1/1',
  rateHz: 3840,
  firstAt: '2026-05-04T10:15:30Z',
  samples: Array.from(sampled(steady(60, 0, (deg * Math.PI) / 180), 0).samples) as unknown,
  voltageIs: 'phase-to-neutral',
  ...over,
});

describe('the node phasor from samples', () => {
  let rig: Rig;
  before(async () => {
    rig = await nodeRed();
  });
  const deploy = (over: object = {}) =>
    rig.deploy([
      { id: 'n', type: 'phaseloom-phasor-from-samples', nominalHz: 60, ...over, wires: [['r'], ['x']] },
      rig.probe('r'),
      rig.probe('x'),
    ]);

  const until = async (is: () => boolean) => {
    for (let n = 0; n < 100 && !is(); n++) await new Promise((r) => setTimeout(r, 20));
    expect(is()).to.equal(true);
  };

  it('makes a reading of a window, and of each window of a batch', async () => {
    await deploy();
    rig.send('n', { payload: windowAt(0), topic: 'w', other: 7 });
    rig.send('n', { payload: [windowAt(-120), windowAt(120)] });
    const got = await rig.until('r', 3);
    expect(got.map((m) => Math.round(m.payload.angleDeg * 1e6) / 1e6 + 0)).to.deep.equal([0, -120, 120]);
    expect(got.map((m) => Math.round(m.payload.voltageV))).to.deep.equal(Array(3).fill(Math.round(PEAK / Math.SQRT2)));
    expect(got[0]).to.include({ topic: 'w', other: 7 });
    expect(got[0]!.reading).to.deep.equal(got[0]!.payload);
    expect(problemsOf('reading', got[0]!.payload)).to.deep.equal([]);
    await until(() => rig.status('n')?.text === '3 read, 0 not'); // statuses are told twice a second at most
  });

  it('takes binary with its description beside it', async () => {
    await deploy();
    const payload = Buffer.from(Float32Array.from(windowAt(-120).samples as number[]).buffer);
    rig.send('n', { payload, window: windowAt(0, { format: 'float32', samples: undefined }) });
    const { payload: reading } = await rig.next('r');
    expect(reading.angleDeg).to.be.closeTo(-120, 1e-4);
  });

  it('rejects what cannot be read, with the reason, and goes on', async () => {
    await deploy();
    rig.send('n', { payload: [windowAt(0, { samples: [] }), { terminal: 'example/S1/9' }, windowAt(0), null] });
    const rejected = await rig.until('x', 3);
    expect(rejected.map((m) => [m.payload.terminal, m.payload.problems[0].code])).to.deep.equal([
      ['example/S1/1', 'too-short'],
      ['example/S1/9', 'schema-required'],
      [null, 'schema-type'],
    ]);
    for (const m of rejected) expect(problemsOf('rejection', m.payload)).to.deep.equal([]);
    expect(rig.got('r')).to.have.length(1);
  });

  it('uses the reference filters when they are chosen', async () => {
    for (const over of [{ estimator: 'class-p' }, { estimator: 'class-m', framesPerS: '120' }]) {
      await deploy(over);
      const samples = Array.from(sampled(steady(60, 1, 0.3), 0, 64, 8).samples);
      rig.send('n', { payload: windowAt(0, { samples }) });
      const { payload: r } = await rig.next('r');
      // 1 Hz above nominal from 0.3 rad: 360 degrees a second further
      const middleS = Number(r.takenAt.slice(19, -1));
      expect(r.angleDeg).to.be.closeTo((0.3 * 180) / Math.PI + 360 * middleS, 0.1);
    }
  });

  it('reads a recording of IEEE C37.111 (file by hand, from memory of the standard)', async () => {
    await deploy();
    const samples = windowAt(0).samples as number[];
    const dat = samples
      .slice(0, 320)
      .map((x, k) => `${k + 1},${k},${Math.round(x * 50)}`)
      .join('\n');
    const cfg = `bank,R-1,2013\n1,1A,0D\n1,VA,A,,V,0.02,0,0,-32767,32767,1,1,P\n60\n1\n3840,320
04/05/2026,10:15:30.000000\n04/05/2026,10:15:30.000000\nASCII\n1\n0,0\n0,0\n`;
    rig.send('n', { payload: { cfg, dat, terminals: { VA: 'example/S1/1' } } });
    const { payload: r } = await rig.next('r');
    expect(r.terminal).to.equal('example/S1/1');
    expect(r.angleDeg).to.be.closeTo(0, 0.01);
    const cff = `--- file type: CFG ---\n${cfg}--- file type: DAT ASCII ---\n${dat}\n`;
    rig.send('n', { payload: { cff: Buffer.from(cff), terminals: { VA: 'example/S1/2' }, lockedErrorUs: 1 } });
    const [, second] = await rig.until('r', 2);
    expect(second!.payload).to.deep.include({ terminal: 'example/S1/2', clock: { locked: true, errorUs: 1 } });
    rig.send('n', { payload: { cfg, dat: '', terminals: { VA: 'example/S1/1' } } });
    rig.send('n', { payload: { cfg, dat } });
    await until(() => rig.errors.length === 2);
    expect(rig.errors.map((e) => e.code)).to.deep.equal(['data-wrong', 'recording-wrong']);
  });

  it('reads streams that come in pieces, and shows a refusal with its reason', async () => {
    const whole = Array.from(sampled(steady(60, 0, 0), 0, 64, 30).samples);
    const piece = (from: number, count: number) =>
      windowAt(0, {
        everyS: 0.1,
        index: from,
        firstAt: new Date(Date.UTC(2026, 4, 4, 10, 15, 30) + (from * 1000) / 3840).toISOString(),
        samples: whole.slice(from, from + count),
      });
    for (const estimator of ['hann', 'class-p']) {
      await deploy({ estimator });
      for (let from = 0; from < 1920; from += 96) rig.send('n', { payload: piece(from, 96), topic: 't' });
      const got = await rig.until('r', 4);
      const near = got.map(({ payload: r }) => [
        Math.round(Number(r.takenAt.slice(20, 26)) / 1000),
        Math.round(r.angleDeg) + 0,
      ]);
      expect(near).to.deep.equal([100, 200, 300, 400].map((ms) => [ms, 0]));
      rig.send('n', { payload: { ...piece(1920, 1), firstAt: '2026-05-04T10:15:31.5Z' } });
      const [refused] = await rig.until('x', 1);
      expect(refused!.payload.problems[0].code).to.equal('pulse-jump');
      await until(() => rig.status('n')?.text === '1 not: pulse jumped');
    }
  });

  it('says what is missing beside binary, and which setting is wrong', async () => {
    await deploy();
    rig.send('n', { payload: Buffer.alloc(8) });
    await until(() => rig.errors.length > 0);
    expect(rig.errors[0]).to.include({ code: 'window-missing' });
    expect(rig.errors[0]!.message).to.match(/msg\.window is undefined; right is an object/);
    await deploy({ nominalHz: 'much' });
    rig.send('n', { payload: windowAt(0) });
    await until(() => rig.errors.length > 0);
    expect(rig.errors[0]!.message).to.equal('nominalHz is "much"; it must be a number from 10 to 500');
    expect(rig.status('n')!.text).to.equal('check the settings');
    await deploy({ estimator: 'class-m', framesPerS: '' });
    rig.send('n', { payload: windowAt(0) });
    await until(() => rig.errors.length > 0);
    expect(rig.errors[0]!.message).to.match(/class M at 60 Hz needs frames a second; right is one of 10, 12/);
  });
});
