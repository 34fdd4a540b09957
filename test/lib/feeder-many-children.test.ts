import { expect } from 'chai';
import type { SiteEvidence } from '../../lib/feeder/evidence';
import { exact } from '../../lib/feeder/exact';
import { passes } from '../../lib/feeder/kernel';
import type { FeederTree } from '../../lib/feeder/model';
import { mostProbable } from '../../lib/feeder/most-probable';
import { type PairFactor, sameConductors } from '../../lib/feeder/pair-factor';
import { explain, solve } from '../../lib/feeder/solve';
import { chance } from '../outside/rates/chance';

const CHILDREN = 1000;
const PRIOR = 0.01;
const ALL = [0, 1, 2, 3, 4, 5];

/** A section fed by the source, and what hangs on it: `each` sections for every child. */
function star(each: number): FeederTree {
  const count = 2 + each * CHILDREN;
  return {
    count,
    parent: Int32Array.from({ length: count }, (_, v) => (v === 0 ? -1 : v === 1 ? 0 : 1)),
    changePrior: new Float32Array(count).fill(PRIOR),
    mask: new Uint8Array(count).fill(7),
    windings: new Map(),
  };
}

/** Readings at the first section of each child: for most 2 is likeliest, for the others something else; as sharp as evidence may be. */
function readings(each: number): SiteEvidence[] {
  const dice = chance(31);
  return Array.from({ length: CHILDREN }, (_, i) => {
    const state = dice.uniform() < 0.6 ? 2 : dice.below(6);
    return { section: 2 + each * i, from: [], likelihood: Float64Array.from(ALL, (s) => (s === state ? 6 : 1e-9)) };
  });
}

const p = Math.fround(PRIOR);
const ln = (x: readonly number[]): number[] => x.map(Math.log);

/** ln of the weight of each state of the section that feeds them all, when each child has the weights `of` under it. */
function weights(evidence: readonly SiteEvidence[], of: (s: number, e: SiteEvidence) => number): number[] {
  const above = ln(ALL.map((s) => passes(p, 0, s)));
  return ALL.map((s) => evidence.reduce((sum, e) => sum + Math.log(of(s, e)), above[s]!));
}
const summed = (logs: readonly number[]): number => {
  const most = Math.max(...logs);
  return most + Math.log(logs.reduce((sum, l) => sum + Math.exp(l - most), 0));
};

function held(
  tree: FeederTree,
  evidence: readonly SiteEvidence[],
  factors: readonly PairFactor[],
  copies: number,
): void {
  const sum = weights(evidence, (s, e) => ALL.reduce((w, t) => w + passes(p, s, t) ** copies * e.likelihood[t]!, 0));
  const best = weights(evidence, (s, e) => Math.max(...ALL.map((t) => passes(p, s, t) ** copies * e.likelihood[t]!)));
  const solution = factors.length > 0 ? solve(tree, evidence, factors) : { ...exact(tree, evidence), factors };
  expect(solution.logEvidence).to.be.closeTo(summed(sum), 1e-6);
  for (const s of ALL) expect(solution.belief[6 + s]).to.be.closeTo(Math.exp(sum[s]! - summed(sum)), 1e-9);
  expect(solution.belief.every(Number.isFinite)).to.equal(true);
  expect(solution.change.every(Number.isFinite)).to.equal(true);
  const explained =
    factors.length > 0 ? explain(solution as ReturnType<typeof solve>, evidence) : mostProbable(tree, evidence);
  expect(explained.logWeight).to.be.closeTo(Math.max(...best), 1e-6);
  expect(explained.states[1]).to.equal(best.indexOf(Math.max(...best)));
}

describe('a section that feeds a thousand others (source: logarithms of the same sums and products)', () => {
  it('keeps its numbers, wherever the readings agree or not', () => held(star(1), readings(1), [], 1));

  it('keeps them through a thousand loops of its own', () => {
    const factors = Array.from({ length: CHILDREN }, (_, i) => sameConductors(`l${i}`, 2 + 2 * i, 3 + 2 * i, 7));
    held(star(2), readings(2), factors, 2);
  });

  it('keeps them with a thousand readings at one section, as sharp as they may be and at odds', () => {
    const evidence = readings(1).map((e) => ({ ...e, section: 2 }));
    const { belief, logEvidence } = exact(star(1), evidence);
    const before = (t: number) => ALL.reduce((w, s) => w + passes(p, 0, s) * passes(p, s, t), 0);
    const logs = ALL.map((t) => evidence.reduce((sum, e) => sum + Math.log(e.likelihood[t]!), Math.log(before(t))));
    expect(belief.every(Number.isFinite)).to.equal(true);
    expect(logEvidence).to.be.closeTo(summed(logs), 1e-6);
    expect(belief[12 + logs.indexOf(Math.max(...logs))]).to.be.above(0.999);
  });

  it('a chain of a thousand loops that share sections is told as left out, not tried', () => {
    const count = 1002;
    const tree = { ...star(1), count, parent: Int32Array.from({ length: count }, (_, v) => v - 1) };
    const factors = Array.from({ length: 1000 }, (_, i) =>
      sameConductors(`l${i}`, 1 + i, Math.min(count - 1, 3 + i), 7),
    );
    const { leftOut, factors: kept, belief } = solve(tree, [], factors);
    expect(leftOut.length + kept.length).to.equal(1000);
    expect(leftOut.length).to.be.above(0);
    expect(belief.every(Number.isFinite)).to.equal(true);
  });
});
