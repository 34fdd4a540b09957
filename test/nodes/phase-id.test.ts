import { expect } from 'chai';
import { problemsOf } from '../../lib';
import type { Identification, Reading } from '../../lib/records';
import { at, BUSES, feeder13Config, PHASES, readAt, referenceAt } from '../kit/feeder13';
import { admitted, kept, newLedger } from '../kit/ledger-in-flow';
import { type FlowNode, nodeRed, type Rig } from '../kit/node-red';

describe('the node phase id', () => {
  let rig: Rig;
  before(async () => {
    rig = await nodeRed();
  });

  const flow = (over: object = {}, ledger?: FlowNode, frame: Record<string, unknown> = {}) => [
    ...feeder13Config(undefined, frame),
    ...(ledger ? [ledger] : []),
    {
      id: 'n',
      type: 'phaseloom-phase-id',
      frame: 'frame',
      network: 'network',
      ...(ledger ? { ledger: 'ledger' } : {}),
      ...over,
      wires: [['p']],
    },
    rig.probe('p'),
  ];
  const deploy = (...args: Parameters<typeof flow>) => rig.deploy(flow(...args));
  const found = () => rig.got('p').map((m) => m.payload as Identification);
  const said = (i: Identification) => `${i.terminal} ${i.phase ?? i.reasons[0]!.code}`;
  const utc = (terminal: string, seconds: number, over: object = {}) =>
    readAt(terminal, { atUs: at(seconds), against: 'utc', over });
  const quiet = (ms = 120) => new Promise((r) => setTimeout(r, ms));

  it('names every conductor of the IEEE 13-node feeder as OpenDSS solved it, alone and as a site', async () => {
    await deploy();
    for (const bus of BUSES)
      for (const k of [1, 2, 3]) rig.send('n', { payload: readAt(`${bus}/${k}`, { atUs: at(k) }) });
    await rig.until('p', BUSES.length * 5);
    const wrong = found().filter((i) => i.phase !== i.recordedPhase || i.agreesWithRecord !== true);
    expect(wrong.map(said)).to.deep.equal([]);
    for (const i of found()) expect(problemsOf('identification', i)).to.deep.equal([]);
    expect(found().filter((i) => i.verdict === 'confirmed').length).to.equal(BUSES.length * 5);
  });

  it('rests on the corrected reading alone, and what was concluded from the one written down wrong is superseded', async () => {
    await deploy({}, newLedger());
    const wrong = readAt('671/1', { atUs: at(0), really: 'B' });
    const right = readAt('671/1', { atUs: at(0), over: { corrects: wrong.id } });
    for (const reading of [wrong, right]) for (const msg of await admitted(rig, reading)) rig.send('n', msg);
    await rig.until('p', 2);
    expect(found().map((i) => [i.phase, i.from])).to.deep.equal([
      ['B', [wrong.id]],
      ['A', [right.id]],
    ]);
    const holds = await kept<Identification>(rig, 'identification', true);
    expect(holds.map((i) => i.phase)).to.deep.equal(['A']);
  });

  it('judges a site together when all its terminals have been read, and each then rests on all', async () => {
    await deploy();
    rig.send('n', { payload: readAt('671/1', { atUs: at(0) }), topic: 'x' });
    rig.send('n', { payload: readAt('671/2', { atUs: at(1) }) });
    rig.send('n', { payload: readAt('671/3', { atUs: at(2) }) });
    await rig.until('p', 5);
    expect(found().map((i) => [i.terminal, i.from.length])).to.deep.equal([
      ['671/1', 1],
      ['671/2', 1],
      ['671/1', 3],
      ['671/2', 3],
      ['671/3', 3],
    ]);
    expect(rig.got('p')[0]!.topic).to.equal('x');
    expect(rig.got('p')[4]!.reading.terminal).to.equal('671/3');
  });

  it('does not judge together what was read too far apart', async () => {
    await deploy({ siteWindowS: 100 });
    for (const k of [1, 2, 3]) rig.send('n', { payload: readAt(`671/${k}`, { atUs: at(60 * k) }) });
    await rig.until('p', 3);
    await quiet();
    expect(found().map((i) => i.from.length)).to.deep.equal([1, 1, 1]);
  });

  it('finds a conductor that the record calls by another phase', async () => {
    await deploy();
    rig.send('n', { payload: readAt('633/2', { atUs: at(0), really: 'C' }) });
    const { payload } = await rig.next('p');
    expect(payload).to.include({ phase: 'C', recordedPhase: 'B', agreesWithRecord: false });
  });

  it('combines readings of one terminal, each time with those shortly before', async () => {
    await deploy({ combineS: 30 });
    for (const s of [0, 20, 100]) rig.send('n', { payload: readAt('680/1', { atUs: at(s) }) });
    await rig.until('p', 3);
    expect(found().map((i) => i.from.length)).to.deep.equal([1, 2, 1]);
    expect(found()[1]!.sdDeg!).to.be.below(found()[0]!.sdDeg!);
  });

  it('without a network it judges each terminal by itself', async () => {
    await deploy({ network: '' });
    for (const k of [1, 2, 3]) rig.send('n', { payload: readAt(`671/${k}`, { atUs: at(k) }) });
    await rig.until('p', 3);
    expect(found().map(said)).to.deep.equal(['671/1 A', '671/2 B', '671/3 C']);
    expect(found()[0]!.recordedPhase).to.equal(null);
  });

  describe('readings against UTC', () => {
    it('wait for the reference reading after them, so that the reference is interpolated', async () => {
      await deploy({ waitS: 20 });
      rig.send('n', { payload: referenceAt(at(0)) });
      rig.send('n', { payload: utc('671/2', 0.4) });
      await quiet();
      expect(found()).to.deep.equal([]);
      rig.send('n', { payload: referenceAt(at(1)) });
      const { payload } = await rig.next('p');
      expect(payload).to.include({ phase: 'B', verdict: 'confirmed', reference: 'SUB' });
      expect(payload.from).to.deep.equal([utc('671/2', 0.4).id, referenceAt(at(0)).id, referenceAt(at(1)).id]);
      expect(rig.got('p')).to.have.length(1);
    });

    it('do not wait when reference readings from both sides are there, even when they come out of order', async () => {
      await deploy({ waitS: 60 });
      for (const s of [1, 0]) rig.send('n', { payload: referenceAt(at(s)) });
      rig.send('n', { payload: utc('671/2', 0.4) });
      expect((await rig.next('p', 2000)).payload.phase).to.equal('B');
    });

    it('are carried by the frequency when the wait is over', async () => {
      await deploy({ waitS: 0.2 });
      rig.send('n', { payload: referenceAt(at(0)) });
      rig.send('n', { payload: utc('671/3', 0.8) });
      const { payload } = await rig.next('p');
      expect([payload.phase, payload.from.length]).to.deep.equal(['C', 2]);
    });

    it('are not proven without the reference, and say why and what would settle it', async () => {
      await deploy({ waitS: 0.05 });
      rig.send('n', { payload: utc('671/2', 0) });
      const { payload } = await rig.next('p');
      expect(payload).to.include({ verdict: 'not-proven', phase: null });
      expect(payload.reasons[0].code).to.equal('reference-missing');
      expect(payload.reasons[0].settle).to.be.a('string');
    });

    it('are identified after all when the reference readings come late', async () => {
      await deploy({ waitS: 0.05 });
      rig.send('n', { payload: utc('671/2', 0.5) });
      expect((await rig.next('p')).payload.phase).to.equal(null);
      for (const s of [0, 1]) rig.send('n', { payload: referenceAt(at(s)) });
      const { payload, reading } = await rig.next('p');
      expect([payload.phase, reading.terminal]).to.deep.equal(['B', '671/2']);
      await quiet();
      expect(rig.got('p')).to.have.length(2);
    });

    it('are judged anew when a reference reading comes late between two that lay far apart', async () => {
      await deploy();
      for (const s of [0, 4.5]) rig.send('n', { payload: referenceAt(at(s)) });
      rig.send('n', { payload: utc('671/2', 2.2) });
      expect((await rig.next('p')).payload, 'held against readings 4.5 s apart').to.include({ verdict: 'not-proven' });
      rig.send('n', { payload: referenceAt(at(2)) });
      rig.send('n', { payload: referenceAt(at(2.5)) });
      await quiet();
      const { payload } = rig.got('p').at(-1)!;
      expect(payload).to.include({ verdict: 'confirmed', phase: 'B' });
      expect(payload.from).to.include.members([referenceAt(at(2)).id]);
    });

    it('of a reference that turns freely are not proven: frequencies that disagree (IEC/IEEE 60255-118-1 frequency, 10 mHz)', async () => {
      await deploy();
      for (const s of [0, 1]) rig.send('n', { payload: referenceAt(at(s)) });
      rig.send('n', { payload: utc('671/2', 0.5, { frequencyHz: 60.01 }) });
      const { payload } = await rig.next('p');
      expect(payload.reasons.map((r: { code: string }) => r.code)).to.include('frequencies-disagree');
    });

    it('of the reference itself lead to no identification', async () => {
      await deploy();
      for (const s of [0, 1, 2]) rig.send('n', { payload: referenceAt(at(s)) });
      await quiet();
      expect([found(), rig.errors]).to.deep.equal([[], []]);
    });

    it('in a batch with the reference readings among them are all identified in one go', async () => {
      await deploy({ waitS: 60 });
      const payload = [referenceAt(at(0)), utc('671/1', 0.2), utc('671/2', 0.4), utc('671/3', 0.6), referenceAt(at(1))];
      rig.send('n', { payload });
      const msg = await rig.next('p');
      expect(msg.payload.map(said)).to.deep.equal(['671/1 A', '671/2 B', '671/1 A', '671/2 B', '671/3 C']);
      expect(msg.reading.map((r: Reading) => r.terminal)).to.deep.equal(['671/1', '671/2', '671/3', '671/3', '671/3']);
    });
  });

  describe('with a ledger', () => {
    it('keeps each finding before it is sent', async () => {
      await deploy({}, newLedger());
      const messages = await admitted(rig, ...[1, 2, 3].map((k) => readAt(`671/${k}`, { atUs: at(k) })));
      for (const m of messages) rig.send('n', m);
      await rig.until('p', 5);
      expect((await kept<Identification>(rig, 'identification')).map((i) => i.id).sort()).to.deep.equal(
        found()
          .map((i) => i.id)
          .sort(),
      );
    });

    it('fetches the stream of the reference around a reading that comes late', async () => {
      await deploy({ waitS: 0.05 }, newLedger());
      await admitted(rig, ...[0, 1, 5000, 5001].map((s) => referenceAt(at(s))));
      for (const s of [5000, 5001]) rig.send('n', { payload: referenceAt(at(s)) });
      for (const m of await admitted(rig, utc('671/2', 0.3))) rig.send('n', m);
      expect((await rig.next('p')).payload).to.include({ phase: 'B', verdict: 'confirmed' });
    });

    it('remembers over a restart what belongs to a site, as it stood at each reading', async () => {
      const ledger = newLedger();
      await deploy({}, ledger);
      const messages = await admitted(rig, ...[1, 2, 3].map((k) => readAt(`671/${k}`, { atUs: at(k) })));
      for (const m of messages.slice(0, 2)) rig.send('n', m);
      await rig.until('p', 2);
      await deploy({}, ledger);
      rig.send('n', messages[2]!);
      await rig.until('p', 3);
      expect(found().map(said)).to.deep.equal(['671/1 A', '671/2 B', '671/3 C']);
      expect(found()[0]!.from).to.have.length(3);
    });

    it('says the same again on a replay, in any order: no finding has a new id', async () => {
      const ledger = newLedger();
      const field = BUSES.flatMap((bus, b) =>
        PHASES.flatMap((_, k) => [0, 20].map((s) => utc(`${bus}/${k + 1}`, 40 * b + 5 * k + s + 0.5))),
      );
      const stream = Array.from({ length: 300 }, (_, s) => referenceAt(at(s)));
      await deploy({ waitS: 0.05 }, ledger);
      const messages = await admitted(rig, ...stream, ...field);
      for (const m of messages) rig.send('n', m);
      await rig.until('p', 90, 20_000);
      await quiet(500);
      const first = new Set((await kept<Identification>(rig, 'identification')).map((i) => i.id));
      const current = (await kept<Identification>(rig, 'identification', true)).map((i) => i.id).sort();
      for (const again of [messages.slice(stream.length), messages.slice(stream.length).reverse()]) {
        await deploy({ waitS: 0.05 }, ledger);
        for (const m of again) rig.send('n', m);
        await rig.until('p', field.length, 20_000);
        await quiet(300);
        expect(
          found()
            .filter((i) => !first.has(i.id))
            .map(said),
        ).to.deep.equal([]);
      }
      expect((await kept<Identification>(rig, 'identification')).length).to.equal(first.size);
      expect((await kept<Identification>(rig, 'identification', true)).map((i) => i.id).sort()).to.deep.equal(current);
      expect(current).to.have.length(18);
    });

    it('leaves out, after a restart, what a screen had turned aside', async () => {
      const ledger = newLedger();
      const screen = {
        id: 's',
        type: 'phaseloom-screen',
        frame: 'frame',
        network: 'network',
        ledger: 'ledger',
        batteryLowPct: 50,
        wires: [['n'], ['aside']],
      };
      const nodes = () => [...flow({}, ledger), screen, rig.probe('aside')];
      await rig.deploy(nodes());
      const weak = readAt('671/1', { atUs: at(0), over: { instrument: { id: 'P', batteryPct: 40 } } });
      const [first, second] = await admitted(rig, weak, readAt('671/1', { atUs: at(10) }));
      rig.send('s', first!);
      await rig.next('aside');
      await rig.deploy(nodes());
      rig.send('s', second!);
      expect((await rig.next('p')).payload.from).to.deep.equal([second!.payload.id]);
    });
  });

  it('makes anew what was found without a reading that comes late', async () => {
    await deploy();
    const [r1, r2, r3] = [1, 2, 3].map((k) => readAt(`671/${k}`, { atUs: at(k) })) as [Reading, Reading, Reading];
    for (const r of [r3, r1, r2]) rig.send('n', { payload: r });
    await rig.until('p', 6);
    expect(found().map((i) => [i.terminal, i.from.length])).to.deep.equal([
      ['671/3', 1],
      ['671/1', 1],
      ['671/2', 1],
      ['671/1', 3],
      ['671/2', 3],
      ['671/3', 3],
    ]);
  });

  it('can send only what differs from the last identification of the terminal', async () => {
    await deploy({ onlyChanged: true });
    for (const s of [0, 100, 200]) rig.send('n', { payload: readAt('680/1', { atUs: at(s) }) });
    rig.send('n', { payload: readAt('680/1', { atUs: at(300), really: 'B' }) });
    await rig.until('p', 2);
    await quiet();
    expect(found().map(said)).to.deep.equal(['680/1 A', '680/1 B']);
  });

  it('can pass on what came in', async () => {
    await deploy({ passOn: true });
    rig.send('n', { payload: referenceAt(at(0)) });
    rig.send('n', { payload: readAt('680/1', { atUs: at(0) }) });
    await rig.until('p', 3);
    expect(rig.got('p').map((m) => m.payload.kind)).to.deep.equal(['reading', 'reading', 'identification']);
  });

  it('tells a voltage by itself that it says nothing of the phase', async () => {
    await deploy();
    rig.send('n', {
      payload: readAt('680/1', { atUs: at(0), over: { angleDeg: undefined, against: undefined } as never }),
    });
    expect((await rig.next('p')).payload.reasons[0].code).to.equal('no-angle');
  });

  it('finishes the readings that wait for a reference when it is closed', async () => {
    await deploy({ waitS: 30 }, newLedger());
    rig.send('n', { payload: utc('671/2', 0) });
    await quiet(50);
    await rig.deploy([rig.probe('p')], 'nodes');
    expect(rig.errors.map((e) => e.code)).to.satisfy((codes: string[]) => codes.every((c) => c === 'ledger-closed'));
  });

  it('says what it takes', async () => {
    await deploy();
    rig.send('n', { payload: { kind: 'rotation' } });
    await quiet(20);
    expect(rig.errors[0]!.message).to.equal('msg.payload.kind is "rotation"; this node takes reading');
  });
});
