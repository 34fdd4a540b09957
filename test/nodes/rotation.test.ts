import { expect } from 'chai';
import { problemsOf } from '../../lib';
import type { Reading, Rotation } from '../../lib/records';
import { at, BUSES, feeder13Config, readAt, referenceAt } from '../kit/feeder13';
import { admitted, kept, newLedger } from '../kit/ledger-in-flow';
import { type FlowNode, nodeRed, type Rig } from '../kit/node-red';

describe('the node rotation', () => {
  let rig: Rig;
  before(async () => {
    rig = await nodeRed();
  });
  const flow = (over: object = {}, ledger?: FlowNode) => [
    ...feeder13Config(),
    ...(ledger ? [ledger] : []),
    {
      id: 'n',
      type: 'phaseloom-rotation',
      frame: 'frame',
      network: 'network',
      ...(ledger ? { ledger: 'ledger' } : {}),
      ...over,
      wires: [['p']],
    },
    rig.probe('p'),
  ];
  const deploy = (...args: Parameters<typeof flow>) => rig.deploy(flow(...args));
  const found = () => rig.got('p').map((m) => m.payload as Rotation);
  const site = (bus: string, phases = 'ABC', from = 0) =>
    [...phases].map((really, k) => readAt(`${bus}/${k + 1}`, { atUs: at(from + k), really: really as 'A' }));
  const quiet = (ms = 150) => new Promise((r) => setTimeout(r, ms));
  const send = (...readings: readonly Reading[]) => {
    for (const payload of readings) rig.send('n', { payload });
  };

  it('finds the rotation of every site of the IEEE 13-node feeder (OpenDSS) in all six viewing orders', async () => {
    // Even permutations keep the sequence, odd ones reverse it (common practice, no source).
    for (const [order, sequence] of Object.entries({
      ABC: 'ABC',
      BCA: 'ABC',
      CAB: 'ABC',
      ACB: 'ACB',
      CBA: 'ACB',
      BAC: 'ACB',
    })) {
      await deploy();
      for (const bus of BUSES) send(...site(bus, order));
      await rig.until('p', BUSES.length);
      expect(found().map((r) => [r.sequence, r.agreesWithRecord])).to.deep.equal(
        BUSES.map(() => [sequence, sequence === 'ABC']),
      );
      expect(problemsOf('rotation', found()[0])).to.deep.equal([]);
    }
  });

  it('comes when the third conductor is read, in whatever order, and is the same record', async () => {
    const [r1, r2, r3] = site('671') as [Reading, Reading, Reading];
    const ids = new Set<string>();
    for (const order of [
      [r1, r2, r3],
      [r3, r1, r2],
      [r2, r3, r1],
    ]) {
      await deploy();
      send(...order);
      ids.add((await rig.next('p')).payload.id);
      await quiet(50);
      expect(rig.got('p')).to.have.length(1);
    }
    expect(ids.size).to.equal(1);
  });

  it('comes again with a further reading, and not for the very same readings', async () => {
    await deploy();
    const readings = site('671');
    send(...readings, ...readings);
    send(readAt('671/1', { atUs: at(200) }));
    await rig.until('p', 2);
    await quiet();
    expect(found().map((r) => r.from.length)).to.deep.equal([3, 3]);
    expect(found()[0]!.id).not.to.equal(found()[1]!.id);
  });

  it('does not bring together what was read too far apart', async () => {
    await deploy({ windowS: 10 });
    send(...[1, 2, 3].map((k) => readAt(`671/${k}`, { atUs: at(6 * k) })));
    await quiet();
    expect(found()).to.deep.equal([]);
  });

  it('takes the reading a finding began with', async () => {
    await deploy();
    const [r1, r2, r3] = site('671') as [Reading, Reading, Reading];
    send(r1);
    rig.send('n', { payload: { kind: 'identification', terminal: '671/2' }, reading: r2 });
    rig.send('n', { payload: [{ kind: 'identification' }, { kind: 'comparison' }], reading: [r3, r3] });
    const { payload } = await rig.next('p');
    expect(payload[0].from).to.deep.equal([r1.id, r2.id, r3.id].sort());
    rig.send('n', { payload: { kind: 'identification' } });
    await quiet(30);
    expect(rig.errors[0]).to.include({ code: 'reading-missing' });
  });

  it('needs neither network nor reference when three terminals are named on it', async () => {
    await deploy({
      network: '',
      terminal1: '633/3',
      terminal2: '633/2',
      terminal3: '633/1',
      viewing: 'road-to-field',
      site: 'pole 633',
    });
    send(...site('633').map((r) => r));
    const { payload } = await rig.next('p');
    expect(payload).to.include({ site: 'pole 633', viewing: 'road-to-field', sequence: 'ACB', recordedSequence: null });
    expect(payload.terminals).to.deep.equal(['633/3', '633/2', '633/1']);
  });

  it('says what it lacks', async () => {
    await deploy({ network: '' });
    expect(rig.status('n')!.fill).to.equal('red');
    await deploy({ terminal1: 'a', terminal2: 'b', terminal3: 'a' });
    send(readAt('671/1', { atUs: at(0) }));
    await quiet(30);
    expect(rig.errors[0]!.message).to.equal('three different terminals are needed in viewing order, got ["a","b","a"]');
  });

  it('holds readings against UTC to the stream of the reference, so that they may lie minutes apart', async () => {
    await deploy({ waitS: 0.05 });
    const utc = [1, 2, 3].map((k) => readAt(`671/${k}`, { atUs: at(60 * k), against: 'utc' }));
    for (const r of utc) {
      const us = Date.parse(r.takenAt) * 1000;
      send(referenceAt(us - 0.5e6), referenceAt(us + 0.5e6), r);
    }
    const { payload } = await rig.next('p');
    expect([payload.sequence, payload.from.length]).to.deep.equal(['ABC', 9]);
  });

  it('without a stream carries readings against UTC that lie close together, and says why when they do not', async () => {
    await deploy({ waitS: 0.05 });
    const utc = (apart: number) => [1, 2, 3].map((k) => readAt(`671/${k}`, { atUs: at(apart * k), against: 'utc' }));
    send(...utc(0.5));
    expect((await rig.next('p')).payload.sequence).to.equal('ABC');
    await deploy({ waitS: 0.05 });
    send(...utc(60));
    const { payload } = await rig.next('p');
    expect(payload.verdict).to.equal('not-proven');
    expect(payload.reasons.map((r: { code: string }) => r.code)).to.include.members([
      'reference-missing',
      'instants-differ',
    ]);
  });

  it('keeps its findings, and after a restart completes what began before it', async () => {
    const ledger = newLedger();
    await deploy({}, ledger);
    const [m1, m2, m3] = await admitted(rig, ...site('671'));
    rig.send('n', m1!);
    rig.send('n', m2!);
    await quiet();
    await deploy({}, ledger);
    rig.send('n', m3!);
    const { payload } = await rig.next('p');
    expect(await kept<Rotation>(rig, 'rotation')).to.deep.equal([payload]);
    // Sent through again in another run it is the same record, stored once.
    await deploy({}, ledger);
    for (const m of [m1!, m2!, m3!]) rig.send('n', m);
    expect((await rig.next('p')).payload.id).to.equal(payload.id);
    expect(await kept<Rotation>(rig, 'rotation')).to.have.length(1);
  });

  it('goes back to the ledger for a reading from before the time that memory holds', async () => {
    await deploy({}, newLedger());
    const old = await admitted(rig, ...site('671'));
    const many = await admitted(
      rig,
      ...Array.from({ length: 40 }, (_, i) => readAt('671/1', { atUs: at(10_000 + i) })),
    );
    for (const m of many) rig.send('n', m);
    await quiet(300);
    rig.send('n', old[2]!);
    const { payload } = await rig.next('p');
    expect(payload.from).to.deep.equal(old.map((m) => m.payload.id).sort());
  });

  it('does not lose, after old readings were sent through again, what came in an earlier run', async () => {
    const ledger = newLedger();
    await deploy({}, ledger);
    const [old, r1, r2, r3] = await admitted(rig, readAt('671/1', { atUs: at(0) }), ...site('671', 'ABC', 100));
    for (const m of [old!, r1!, r2!]) rig.send('n', m);
    await quiet();
    await deploy({}, ledger);
    rig.send('n', old!);
    await quiet();
    rig.send('n', r3!);
    const { payload } = await rig.next('p');
    expect(payload.from).to.deep.equal([r1!, r2!, r3!].map((m) => m.payload.id).sort());
  });

  it('passes on what came in before what it found, when told so', async () => {
    await deploy({ passOn: true });
    send(...site('671'));
    await rig.until('p', 4);
    expect(rig.got('p').map((m) => m.payload.kind)).to.deep.equal(['reading', 'reading', 'reading', 'rotation']);
  });
});
