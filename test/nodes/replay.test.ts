import { expect } from 'chai';
import { problemsOf } from '../../lib';
import type { Identification, Reading, Replay } from '../../lib/records';
import { SqliteLedger } from '../../nodes/ledger/sqlite/sqlite-ledger';
import { replayed } from '../../nodes/ledger-query/replay';
import { at, feeder13Config, PHASES, readAt } from '../kit/feeder13';
import { kept, newLedger } from '../kit/ledger-in-flow';
import { type FlowNode, nodeRed, type Rig } from '../kit/node-red';
import { admitted, reading } from './ledger-samples';

const TERMINALS = ['671', '675'].flatMap((bus) => PHASES.map((_, k) => `${bus}/${k + 1}`));
const READINGS = TERMINALS.map((terminal, i) => readAt(terminal, { atUs: at(i) }));

describe('stored readings sent again', () => {
  let rig: Rig;
  let ledger: FlowNode;
  before(async () => {
    rig = await nodeRed();
  });
  beforeEach(() => {
    ledger = newLedger();
  });

  /** The reference's offset is what is corrected later. */
  const flow = (offsetDeg: number): FlowNode[] => [
    ...(feeder13Config().map((n) => (n.id === 'ref' ? { ...n, offsetDeg } : n)) as unknown as FlowNode[]),
    ledger,
    { id: 'in', type: 'phaseloom-readings-in', ledger: 'ledger', wires: [['id', 'seen'], []] },
    {
      id: 'again',
      type: 'phaseloom-ledger-query',
      ledger: 'ledger',
      what: 'replay',
      query: 'payload',
      queryType: 'msg',
      wires: [['id', 'seen']],
    },
    {
      id: 'id',
      type: 'phaseloom-phase-id',
      frame: 'frame',
      network: 'network',
      ledger: 'ledger',
      wires: [['found'], []],
    },
    rig.probe('found'),
    rig.probe('seen'),
  ];
  const until = async (holds: () => boolean | Promise<boolean>) => {
    for (let i = 0; i < 200 && !(await holds()); i++) await new Promise((r) => setTimeout(r, 50));
  };
  const phases = async () =>
    new Map((await kept<Identification>(rig, 'identification', true)).map((i) => [i.terminal, i.phase]));
  const withWrongOffset = async () => {
    await rig.deploy(flow(120));
    for (const { id: _id, ...reading } of READINGS) rig.send('in', { payload: reading, topic: 'field/P' });
    await rig.until('found', TERMINALS.length);
    await until(async () => (await phases()).size === TERMINALS.length);
  };

  it('a corrected reference, and the same readings again: new findings hold, the old ones stay, who and why is on record', async () => {
    await withWrongOffset();
    const wrong = await kept<Identification>(rig, 'identification');
    expect([...(await phases())].filter(([t, phase]) => phase === PHASES[Number(t.slice(-1)) - 1])).to.deep.equal([]);
    const sentBefore = rig.got('seen');

    await rig.deploy(flow(0));
    const again = () => rig.got('seen').filter((m) => m.phaseloom.replay);
    rig.send('again', { payload: { by: 'Op 1', why: 'offset of the reference corrected' } });
    await until(() => again().length >= TERMINALS.length);
    await until(async () => (await phases()).get('671/1') === 'A' && (await phases()).get('675/3') === 'C');

    // Phases as OpenDSS solved the IEEE 13-node feeder: terminal bus/k is on phase k.
    const truth = TERMINALS.map((t): [string, string] => [t, PHASES[Number(t.slice(-1)) - 1]!]);
    expect([...(await phases())].sort()).to.deep.equal(truth);
    const all = await kept<Identification>(rig, 'identification');
    for (const old of wrong) expect(all.map((f) => f.id)).to.include(old.id);
    const places = (messages: typeof sentBefore) =>
      messages.map((m) => [m.payload, m.reading, m.topic, m.phaseloom.seq]);
    expect(places(again())).to.deep.equal(places(sentBefore));

    const [order] = await kept<Replay>(rig, 'replay');
    expect(order).to.deep.include({
      by: 'Op 1',
      why: 'offset of the reference corrected',
      subject: '/',
      readings: READINGS.length,
    });
    expect(problemsOf('replay', order)).to.deep.equal([]);
    for (const { phaseloom } of again()) expect(phaseloom.replay).to.equal(order!.id);
  });

  it('takes only what it was asked for, and each order stays on record', async () => {
    await withWrongOffset();
    const count = rig.got('seen').length;
    rig.send('again', { payload: { by: 'Op 1', why: 'one bus', subject: '675/' } });
    rig.send('again', {
      payload: { by: 'Op 2', why: 'one reading', from: new Date(at(1) / 1000), to: new Date(at(1) / 1000) },
    });
    await rig.until('seen', count + 4);
    await new Promise((r) => setTimeout(r, 200));
    const again = rig
      .got('seen')
      .slice(count)
      .map((m) => m.payload.terminal);
    expect(again.sort()).to.deep.equal(['671/2', '675/1', '675/2', '675/3']);
    const orders = await kept<Replay>(rig, 'replay', true);
    expect(orders.map((o) => [o.by, o.subject, o.readings]).sort()).to.deep.equal([
      ['Op 1', '675/', 3],
      ['Op 2', '/', 1],
    ]);
  });

  it('sends nothing when nobody says who and why, or something is asked that it does not know', async () => {
    await withWrongOffset();
    const count = rig.got('seen').length;
    rig.send('again', { payload: { why: 'x' } });
    rig.send('again', { payload: { by: 'Op 1' } });
    rig.send('again', { payload: { by: 'Op 1', why: 'x', terminal: '671/1' } });
    await until(() => rig.errors.length >= 3);
    expect(rig.errors.map((e) => e.message)).to.deep.equal([
      'query.by is missing; right would be a text',
      'query.why is missing; right would be a text',
      'query.terminal is not known; for replay known are by, why, subject, instrument, from, to',
    ]);
    expect(rig.got('seen')).to.have.length(count);
    expect(await kept<Replay>(rig, 'replay')).to.deep.equal([]);
  });

  it('are those that stood in the ledger when it was asked: what comes meanwhile is not sent twice, and it ends', async () => {
    const own = new SqliteLedger({ file: ':memory:' });
    await own.open();
    let taken = 0;
    const store = (count: number) =>
      own.admit(
        Array.from({ length: count }, () => admitted(reading('s/1', taken++))),
        [],
      );
    await store(1200);
    const sent: unknown[] = [];
    for await (const { payload } of replayed(own, { by: 'Op 1', why: 'all' }, {}, at(0))) {
      sent.push((payload as Reading).id);
      if (sent.length < 3000) await store(1);
    }
    expect(sent).to.have.length(1200);
    await own.close();
  });
});
