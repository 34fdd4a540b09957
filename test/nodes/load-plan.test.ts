import { expect } from 'chai';
import { problemsOf } from '../../lib';
import { parseCsv } from '../../lib/csv';
import type { Identification, Plan } from '../../lib/records';
import { ieee123AtHead, randomFeeder } from '../kit/feeder-loads';
import { kept, ledgerOf, newLedger } from '../kit/ledger-in-flow';
import { type FlowNode, nodeRed, type Rig } from '../kit/node-red';

const SMALL = {
  id: 'small',
  source: 's',
  voltageV: 1000,
  sections: [{ id: 'head', from: 's', to: 'a', phases: ['A', 'B', 'C'] }],
  loads: [
    { id: 'l1', section: 'head', phases: ['C'], kW: 10, movable: true, terminals: ['small/T1'] },
    { id: 'l2', section: 'head', phases: ['B'], kW: 15 },
    { id: 'l3', section: 'head', phases: ['C'], kW: 20 },
  ],
};

const proof = (phase: string, at: string): Identification => ({
  kind: 'identification',
  id: `pi-${phase}-${at}`,
  at,
  from: [],
  terminal: 'small/T1',
  verdict: 'confirmed',
  phase,
  connection: 'phase-neutral',
  slot: 0,
  probability: 0.9999,
  candidates: [],
  angleDeg: 1,
  expectedDeg: 0,
  residualDeg: 1,
  sdDeg: 2,
  reference: 'R',
  recordedPhase: 'C',
  agreesWithRecord: false,
  reasons: [],
});
const later = (s: number) => new Date(Date.now() + 1000 * s).toISOString();

describe('the node load plan', function () {
  this.timeout(60_000);
  let rig: Rig;
  before(async () => {
    rig = await nodeRed();
  });
  after(() => rig.deploy([]));
  const deploy = (over: object = {}, ...more: FlowNode[]) =>
    rig.deploy([
      {
        id: 'n',
        type: 'phaseloom-load-plan',
        source: 'inline',
        document: JSON.stringify(SMALL),
        aim: 'best',
        moves: 1,
        timeS: 20,
        ...over,
        wires: [['plans'], ['answers']],
      },
      rig.probe('plans'),
      rig.probe('answers'),
      ...more,
    ]);
  const ask = (payload: object) => rig.send('n', { payload });
  const plans = () => rig.got('plans').map((m) => m.payload as Plan);
  const settled = async () => {
    for (let i = 0; i < 100 && rig.errors.length === 0; i++) await new Promise((r) => setTimeout(r, 50));
  };

  it('IEEE 123 spot loads: six moves leave 0.93 %, proven, off the main thread, as a record and a work list', async () => {
    await deploy({ document: JSON.stringify(ieee123AtHead()), moves: 6 });
    let turns = 0;
    const timer = setInterval(() => turns++, 5);
    ask({ ask: 'plan' });
    const [msg] = await rig.until('plans', 1, 20_000);
    clearInterval(timer);
    const plan = msg!.payload as Plan;
    expect(problemsOf('plan', plan)).to.deep.equal([]);
    expect(plan.after).to.be.closeTo(0.93, 0.0051);
    expect([plan.proven, plan.moves.length, plan.aim.unit]).to.deep.equal([true, 6, '% of the mean']);
    expect(parseCsv(msg!.workList)).to.have.length(8);
    // The main thread went on while the search ran.
    expect(turns).to.be.greaterThan(5);
    // The status is sent at most twice a second.
    for (let i = 0; i < 60 && rig.status('n')!.text !== '0 of 6 proven'; i++)
      await new Promise((r) => setTimeout(r, 50));
    expect(rig.status('n')!.text).to.equal('0 of 6 proven');
  });

  it('follows the plan of each feeder, also after one for the loads of another was asked for', async () => {
    await deploy();
    ask({ ask: 'plan' });
    await rig.until('plans', 1);
    const loads = SMALL.loads.map((l) => ({ ...l, ...(l.terminals ? { terminals: ['other/T1'] } : {}) }));
    ask({ ask: 'plan', document: { ...SMALL, id: 'other', loads } });
    await rig.until('plans', 2);
    rig.send('n', { payload: [proof('A', later(2)), { ...proof('A', later(2)), id: 'pi-o', terminal: 'other/T1' }] });
    await rig.until('plans', 4);
    expect(plans().map((p) => [p.feeder, p.moves[0]!.state])).to.have.deep.members([
      ['small', 'open'],
      ['other', 'open'],
      ['small', 'confirmed'],
      ['other', 'confirmed'],
    ]);
  });

  it('later readings confirm a move, and a batch is one message', async () => {
    await deploy();
    ask({ ask: 'plan' });
    await rig.until('plans', 1);
    expect(plans()[0]!.moves.map((m) => [m.from, m.to, m.state])).to.deep.equal([[['C'], ['A'], 'open']]);
    rig.send('n', { payload: [proof('C', later(1)), proof('A', later(2))] });
    await rig.until('plans', 2);
    expect(plans()[1]!.moves.map((m) => m.state)).to.deep.equal(['confirmed']);
    expect(rig.errors).to.deep.equal([]);
  });

  it('phases that readings prove go before the record', async () => {
    await deploy();
    rig.send('n', { payload: proof('A', later(-60)) });
    ask({ ask: 'plan' });
    await rig.until('plans', 1);
    const { moves, basis } = plans()[0]!;
    expect([moves, basis]).to.deep.equal([[], { identified: 1, recorded: 2, leastProbability: 0.9999 }]);
  });

  it('answers with loading, curve, and the phase for a new load', async () => {
    await deploy();
    ask({ ask: 'loading' });
    ask({ ask: 'phase', load: { id: 'x', section: 'head', phases: ['A'], kW: 5 } });
    ask({ ask: 'curve', moves: 2 });
    const [rows, options, curve] = await rig.until('answers', 3, 20_000);
    expect(rows!.payload[1].phases.map((p: { kW: number }) => p.kW)).to.deep.equal([0, 15, 30]);
    expect(options!.payload[0].phases).to.deep.equal(['A']);
    expect(curve!.payload.map((c: { proven: boolean }) => c.proven)).to.deep.equal([true, true, true]);
  });

  it('keeps plans in the ledger and knows them after a restart', async () => {
    const ledger = newLedger();
    await deploy({ ledger: 'ledger' }, ledger as FlowNode);
    ask({ ask: 'plan' });
    await rig.until('plans', 1);
    const stored = await kept<Plan>(rig, 'plan');
    expect(stored.map((p) => p.id)).to.deep.equal(plans().map((p) => p.id));
    await deploy({ ledger: 'ledger' }, ledger as FlowNode);
    rig.send('n', { payload: proof('A', later(5)) });
    const again = (await rig.until('plans', 1)).at(-1)!.payload as Plan;
    expect(again.moves.map((m) => m.state)).to.deep.equal(['confirmed']);
    expect((await kept<Plan>(rig, 'plan', true)).map((p) => p.id)).to.deep.equal([again.id]);
  });

  it('what was proven before a restart stands, though a later finding proves nothing; the same readings judged again take it back', async () => {
    const ledger = newLedger();
    await deploy({ ledger: 'ledger' }, ledger as FlowNode);
    const nothing = (at: string): Identification => ({
      ...proof('A', at),
      id: `pi-nothing-${at}`,
      verdict: 'not-proven',
      phase: null,
      reasons: [{ code: 'time-quality-unknown', why: 'w', settle: 's' }],
    });
    const basis = async () => {
      await deploy({ ledger: 'ledger' }, ledger as FlowNode);
      ask({ ask: 'plan', moves: 0 });
      return ((await rig.until('plans', 1)).at(-1)!.payload as Plan).basis.identified;
    };
    const at = later(-60);
    const store = async (i: Identification) => (await ledgerOf(rig)).keep(i);
    await store(proof('A', at));
    await store(nothing(later(-30)));
    expect(await basis()).to.equal(1);
    await store(nothing(at));
    expect(await basis()).to.equal(0);
  });

  it('hears after a restart of readings that came meanwhile, and says so', async () => {
    const ledger = newLedger();
    await deploy({ ledger: 'ledger' }, ledger as FlowNode);
    ask({ ask: 'plan' });
    await rig.until('plans', 1);
    await (await ledgerOf(rig)).keep(proof('A', later(5)));
    await deploy({ ledger: 'ledger' }, ledger as FlowNode);
    const told = (await rig.until('plans', 1))[0]!.payload as Plan;
    expect(told.moves.map((m) => m.state)).to.deep.equal(['confirmed']);
    await deploy({ ledger: 'ledger' }, ledger as FlowNode);
    ask({ ask: 'loading' });
    await rig.until('answers', 1);
    expect(plans(), 'nothing new').to.deep.equal([]);
  });

  it('a plan comes with what each move buys, unless that is not wanted', async () => {
    await deploy();
    ask({ ask: 'plan' });
    await rig.until('plans', 1);
    // 0, 15, 30 kW: 100 % off the mean of 15; then 10, 15, 20: a third.
    const [zero, one] = plans()[0]!.curve!;
    expect([zero!.unbalance, one!.unbalance, one!.proven]).to.deep.equal([100, 33.333333, true]);
    expect(plans()[0]!.after).to.equal(one!.unbalance);
    ask({ ask: 'plan', withCurve: false });
    await rig.until('plans', 2);
    expect(plans()[1]!.curve).to.equal(undefined);
  });

  it('a search can be cancelled and gives what is best so far; only one runs at a time', async () => {
    await deploy({ document: JSON.stringify(randomFeeder(300, 10, 3)), aim: 'price', over: 'sum', timeS: 60 });
    ask({ ask: 'plan' });
    ask({ ask: 'plan' });
    await settled();
    expect(rig.errors.map((e) => e.code)).to.deep.equal(['plan-busy']);
    for (let i = 0; i < 400 && !/[1-9]/.test(rig.status('n')?.text ?? ''); i++)
      await new Promise((r) => setTimeout(r, 50));
    ask({ ask: 'cancel' });
    await rig.until('plans', 1);
    const [plan] = plans();
    expect(rig.errors.map((e) => e.code)).to.deep.equal(['plan-busy']);
    expect(plan!.after).to.be.below(plan!.before);
    expect(plan!.moves.length).to.be.above(0);
  });

  it('says what is wrong with a request, a load, a document, a setting', async () => {
    await deploy();
    ask({ ask: 'nonsense' });
    ask({ ask: 'phase', load: { id: 'x' } });
    ask({ ask: 'plan', document: { id: 'x' } });
    ask({ ask: 'plan', aim: 'best', moves: -1 });
    for (let i = 0; i < 100 && rig.errors.length < 4; i++) await new Promise((r) => setTimeout(r, 50));
    expect(rig.errors.map((e) => e.code)).to.have.members(['ask-unknown', 'load-invalid', 'loads-invalid', 'config']);
    expect(rig.errors.map((e) => e.message).join()).to.match(/right would be plan, curve, loading, phase, cancel/);
    await deploy({ document: JSON.stringify({ ...SMALL, voltageV: -1 }) });
    ask({ ask: 'plan' });
    await settled();
    expect(rig.errors[0]!.message).to.match(/voltageV is -1/);
    expect(rig.status('n')).to.include({ fill: 'red', text: 'check the settings' });
  });
});
