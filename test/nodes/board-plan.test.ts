import { expect } from 'chai';
import { parseCsv } from '../../lib/csv';
import type { CurvePoint } from '../../lib/loading/curve';
import type { NewLoadOption } from '../../lib/loading/new-load';
import type { Plan } from '../../lib/records';
import { problemsOf } from '../../lib/validate';
import { deployPlan, LOADED, provenAtT1 } from '../kit/board-plan';
import { kept } from '../kit/ledger-in-flow';
import { nodeRed, type Rig } from '../kit/node-red';
import { type Webhook, webhook } from '../kit/webhook';

describe('load plans on the board and handed off', function () {
  this.timeout(60_000);
  let rig: Rig;
  let hook: Webhook;
  before(async () => {
    rig = await nodeRed();
  });
  beforeEach(async () => {
    hook = await webhook();
    const handoff = { id: 'h', type: 'phaseloom-handoff', ledger: 'ledger', way: 'http', url: hook.url };
    await deployPlan(rig, { ...handoff, wires: [[], []] });
  });
  afterEach(() => hook.close());
  after(() => rig.deploy([]));
  const at = (path: string) => `http://127.0.0.1:${rig.port}/phaseloom/api/${path}`;
  const post = (body: object, headers: Record<string, string> = { 'x-phaseloom': 'board' }) =>
    fetch(at('plan/ask'), { method: 'POST', headers, body: JSON.stringify(body) });
  const ask = async <T>(body: object) => ((await (await post(body)).json()) as { answer: T }).answer;

  it('a plan asked for on the board is kept, handed off, and its moves confirmed and contradicted by readings', async () => {
    const plan = await ask<Plan>({ feeder: 'small', ask: 'plan', moves: 1 });
    expect(problemsOf('plan', plan)).to.deep.equal([]);
    // By hand: 30, 45, 105 kW; the mean is 60, so t1 (30 kW) to A leaves 60, 45, 75: 25 % instead of 75 %.
    expect(plan.moves.map((m) => [m.id, m.from, m.to])).to.deep.equal([['t1', ['C'], ['A']]]);
    expect([plan.before, plan.after]).to.deep.equal([75, 25]);
    const head = plan.sections.find((s) => s.section === 'head')!;
    expect(head.before.phases!.map((p) => [p.phase, p.kW])).to.deep.equal([
      ['A', 30],
      ['B', 45],
      ['C', 105],
    ]);
    expect(head.after.phases!.map((p) => p.kW)).to.deep.equal([60, 45, 75]);
    // 1000 x 105 kW / 7200 V
    expect(head.before.phases![2]!.amperes).to.be.closeTo(14.583, 0.001);
    expect(head.undecidedKW).to.equal(5);
    await hook.until(1);
    rig.send('plan', { payload: provenAtT1('A', 5) });
    await hook.until(2);
    rig.send('plan', { payload: provenAtT1('B', 9) });
    await hook.until(3);
    const events = hook.received.map((r) => JSON.parse(r.body) as { type: string; subject: string; data: Plan });
    expect(events.map((e) => [e.type, e.subject])).to.deep.equal(Array(3).fill(['org.phaseloom.plan', 'small']));
    expect(events.map((e) => e.data.moves.map((m) => m.state))).to.deep.equal([['open'], ['confirmed'], ['elsewhere']]);
    expect(new Set(hook.received.map((r) => r.headers['idempotency-key'])).size).to.equal(3);
    for (const { data } of events) expect(data.moves[0]!.cautions[0]).to.match(/^Prove by readings at the tap/);
    const stored = await kept<Plan>(rig, 'plan');
    expect(stored.map((p) => p.id)).to.deep.equal(events.map((e) => e.data.id));
    const { plans } = (await (await fetch(at('plans'))).json()) as { plans: Plan[] };
    expect(plans.map((p) => p.id)).to.deep.equal([stored[2]!.id]);
    const csv = parseCsv(await (await fetch(at(`plan/work-list?id=${stored[2]!.id}`))).text());
    expect(csv[1]!.fields).to.include.members(['t1', 'C', 'A', 'elsewhere']);
  });

  it('answers with the curve beside greedy, and where a new load goes', async () => {
    const curve = await ask<CurvePoint[]>({ feeder: 'small', ask: 'curve', moves: 2 });
    expect(curve.map((c) => c.moves)).to.deep.equal([0, 1, 2]);
    expect(curve.map((c) => c.unbalance)).to.deep.equal([75, 25, 0]);
    for (const c of curve) expect(c.unbalance).to.be.at.most(c.greedy + 1e-9);
    const load = { id: 'new', section: 'far', phases: ['A'], kW: 6 };
    const options = await ask<NewLoadOption[]>({ feeder: 'small', ask: 'phase', load });
    expect(options[0]!.phases).to.deep.equal(['A']);
    expect(rig.got('plans')).to.deep.equal([]);
  });

  it('takes nothing from another site, no strange feeder, and no document', async () => {
    expect((await post({ feeder: 'small', ask: 'plan' }, {})).status).to.equal(403);
    const code = async (body: object) => ((await (await post(body)).json()) as { code: string }).code;
    expect(await code({ feeder: 'large', ask: 'plan' })).to.equal('config');
    expect(await code({ feeder: 'small', ask: 'burn' })).to.equal('ask-unknown');
    expect(await code({ feeder: 'small', ask: 'plan', document: LOADED })).to.equal('body-unusable');
    expect((await fetch(at('plan/work-list?id=pl-none'))).status).to.equal(404);
  });
});
