import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect } from 'chai';
import { readPublished } from '../../lib/feeder/io/published';
import { applied } from '../../lib/loading/applied';
import { loadingFromFeeder } from '../../lib/loading/from-feeder';
import { makeLoading } from '../../lib/loading/model';
import { planMoves } from '../../lib/loading/plan';
import { sectionLoading } from '../../lib/loading/section-loading';
import { unitMoves } from '../../lib/loading/work-list';
import { highsSolver } from '../../nodes/load-plan/highs-solver';

const table = (name: string) => readFileSync(join(__dirname, '../outside/data', `ieee123_${name}.csv`), 'utf8');

describe('the IEEE PES 123-node feeder with its lines, laterals as a whole', function () {
  this.timeout(30_000);
  const feeder = () => {
    const read = readPublished(
      { lines: table('lines'), loads: table('loads'), transformers: table('transformers') },
      { id: 'ieee123' },
    );
    if (!read.ok) throw new Error(read.problems.join('\n'));
    return read.document;
  };
  const loading = () => makeLoading(loadingFromFeeder(feeder(), { voltageV: 2402, movable: 'laterals' }));

  it('the source carries the whole list: 3490 kW, 1920 kvar (sums of the published loads)', () => {
    const [source] = sectionLoading(loading());
    expect(source!.phases.reduce((s, p) => s + p.kW, 0)).to.be.closeTo(3490, 1e-6);
    expect(source!.phases.reduce((s, p) => s + p.kvar, 0)).to.be.closeTo(1920, 1e-6);
  });

  it('what hangs on a lateral moves with it, and the figures of a plan are those of the feeder afterwards', async () => {
    const before = loading();
    const solver = await highsSolver();
    const head = before.feeder.ids[1]!;
    const options = { nowMs: () => performance.now(), timeS: 20, seed: 1, solver, watch: [head] };
    const plan = await planMoves(before, { ...options, aim: { kind: 'best', moves: 2 } });
    expect([plan.proven, plan.moves <= 2, plan.after < plan.before]).to.deep.equal([true, true, true]);
    const moves = unitMoves(plan);
    expect(moves.some(({ unit }) => unit.kind === 'lateral' && unit.loads.length > 1)).to.equal(true);
    const after = sectionLoading(applied(before, moves)).find((r) => r.section === head)!;
    expect(after.unbalancePct.kW).to.be.closeTo(plan.after, 1e-6);
    expect(after.phases.reduce((s, p) => s + p.kW, 0)).to.be.closeTo(3490, 1e-6);
  });
});
