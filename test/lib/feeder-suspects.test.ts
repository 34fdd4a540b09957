import { expect } from 'chai';
import type { SiteEvidence } from '../../lib/feeder/evidence';
import type { FeederTree } from '../../lib/feeder/model';
import { solve } from '../../lib/feeder/solve';
import { CREDIBLE, suspects } from '../../lib/feeder/suspects';
import { enumerate } from './feeder-enumeration';

const tree = (parents: readonly number[], prior: (v: number) => number): FeederTree => ({
  count: parents.length,
  parent: Int32Array.from(parents),
  changePrior: Float32Array.from(parents, (_, v) => prior(v)),
  mask: new Uint8Array(parents.length).fill(7),
  windings: new Map(),
});
const stands = (section: number, state: number): SiteEvidence => ({
  section,
  from: [],
  likelihood: Float64Array.from({ length: 6 }, (_, s) => (s === state ? 1 : 1e-4)),
});

describe('suspected crossings', () => {
  it('are not the summed prior doubt of branches that nobody read', () => {
    // A trunk of two sections, both as recorded; 200 sections of joints hang on it unread: four crossings are to be expected among them.
    const t = tree([-1, 0, 1, ...Array.from({ length: 200 }, (_, i) => (i === 0 ? 1 : i + 2))], (v) =>
      v < 3 ? 5e-4 : 0.02,
    );
    const solution = solve(t, [stands(1, 0), stands(2, 0)]);
    expect(Array.from(solution.change).reduce((a, b) => a + b, 0)).to.be.above(3.9);
    expect(suspects(solution, [1, 2])).to.deep.equal([]);
  });

  it('lie on the stretch between two evidences, in the smallest set that holds 95 % of it (source: exhaustive enumeration)', () => {
    // 1 to 5 in line, read at 1 and 5; 6 hangs on 3, unread.
    const t = tree([-1, 0, 1, 2, 3, 4, 3], (v) => [0, 5e-4, 0.02, 0.005, 0.02, 5e-4, 0.02][v]!);
    const evidence = [stands(1, 0), stands(5, 3)];
    const found = suspects(solve(t, evidence), [1, 5]);
    const { change } = enumerate(t, evidence);
    const stretch = [2, 3, 4, 5].sort((a, b) => change[b]! - change[a]!);
    const mass = stretch.reduce((sum, v) => sum + change[v]!, 0);
    const smallest =
      stretch.findIndex((_, n) => stretch.slice(0, n + 1).reduce((s, v) => s + change[v]!, 0) >= CREDIBLE * mass) + 1;
    expect(found.length).to.equal(1);
    expect(found[0]!.mass).to.be.closeTo(mass, 1e-6);
    expect(found[0]!.sections.map((s) => s.section)).to.have.members(stretch.slice(0, smallest));
  });

  it('are told once where two readings below a branching both hang on one crossing, and twice where the phases between are settled', () => {
    // 1 - 2 - (3, 4), crossing above the branching; then read at 2 as well, and another crossing below it.
    const t = tree([-1, 0, 1, 2, 2], () => 0.02);
    const once = suspects(solve(t, [stands(3, 3), stands(4, 3)]), [3, 4]);
    expect(once.map((s) => s.sections.map((x) => x.section).sort())).to.deep.equal([[1, 2]]);
    const twice = suspects(solve(t, [stands(2, 3), stands(2, 3), stands(3, 3), stands(4, 0)]), [2, 3, 4]);
    expect(twice.map((s) => s.sections.map((x) => x.section).sort())).to.have.deep.members([[1, 2], [4]]);
  });
});
