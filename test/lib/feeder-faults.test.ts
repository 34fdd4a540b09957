import { expect } from 'chai';
import { suspectSites } from '../../lib/feeder/corrections';
import { type SiteEvidence, siteEvidence, slotLikelihood } from '../../lib/feeder/evidence';
import { passes } from '../../lib/feeder/kernel';
import type { FeederTree } from '../../lib/feeder/model';
import { compose, image, STATES } from '../../lib/feeder/permutation';
import { solve } from '../../lib/feeder/solve';
import { wrappedNormal } from '../../lib/likelihood';
import { chance } from '../outside/rates/chance';
import { randomTree } from './feeder-enumeration';

const RATES = { tagError: 0.02, siteFault: 0.01 };
const GROSS = 0.05;
const ALL = [0, 1, 2, 3, 4, 5];

interface Site {
  readonly section: number;
  readonly conductors: readonly number[];
  readonly anglesDeg: readonly number[];
  readonly sdDeg: number;
}

/** Angles that fit some order of the conductors, or none. */
function sites(seed: number, tree: FeederTree): Site[] {
  const dice = chance(seed + 50);
  return Array.from({ length: tree.count - 1 }, (_, i) => i + 1).flatMap((section) => {
    if (dice.uniform() < 0.3) return [];
    const conductors = [0, 1, 2].filter((j) => (tree.mask[section]! >> j) & 1);
    const [s, sdDeg] = [dice.below(6), 3 + 10 * dice.uniform()];
    const anglesDeg = conductors.map((j) =>
      dice.uniform() < 0.2 ? 360 * dice.uniform() : -120 * image(s, j) + sdDeg * dice.normal(),
    );
    return [{ section, conductors, anglesDeg, sdDeg }];
  });
}

const evidenceOf = ({ section, conductors, anglesDeg, sdDeg }: Site): SiteEvidence =>
  siteEvidence(
    section,
    [],
    conductors.map((conductor, i) => ({ conductor, slots: slotLikelihood(anglesDeg[i]!, sdDeg, GROSS) })),
    RATES,
  );

/** Density of the angles, per degree each, when the tags stand at s: every reading is sound, or gross and anywhere. */
const density = ({ conductors, anglesDeg, sdDeg }: Site, s: number): number =>
  conductors.reduce((product, j, i) => {
    const sound = wrappedNormal(anglesDeg[i]! + 120 * image(s, j), sdDeg);
    return product * ((1 - GROSS) * sound + GROSS / 360);
  }, 1);

/** One site whose conductors stand at s: faulty and anywhere, rightly tagged, or tagged in another order. */
function ways(site: Site, s: number): { fault: number; right: number; tags: number } {
  const { tagError: q, siteFault: f } = RATES;
  const tagged = (change: number) => density(site, compose(s, change));
  const wrong = [1, 2, 3, 4, 5].reduce((sum, change) => sum + passes(1, 0, change) * tagged(change), 0);
  return {
    fault: f / 360 ** site.conductors.length,
    right: (1 - f) * (1 - q) * density(site, s),
    tags: (1 - f) * q * wrong,
  };
}

/** Sums over every order of every section's conductors and every way in which each site may err. */
function enumerated(tree: FeederTree, read: readonly Site[]) {
  const belief = new Float64Array(STATES * tree.count);
  const tags = new Float64Array(tree.count);
  const fault = new Float64Array(tree.count);
  let total = 0;
  const states = new Array<number>(tree.count).fill(0);
  const visit = (v: number, weight: number): void => {
    if (v < tree.count) {
      for (const s of ALL) {
        states[v] = s;
        visit(v + 1, weight * passes(tree.changePrior[v]!, states[tree.parent[v]!]!, s));
      }
      return;
    }
    const each = read.map((site) => ways(site, states[site.section]!));
    const w = each.reduce((product, e) => product * (e.fault + e.right + e.tags), weight);
    total += w;
    for (let u = 0; u < tree.count; u++) belief[STATES * u + states[u]!]! += w;
    each.forEach((e, i) => {
      const all = e.fault + e.right + e.tags;
      tags[read[i]!.section]! += (w * e.tags) / all;
      fault[read[i]!.section]! += (w * e.fault) / all;
    });
  };
  visit(1, 1);
  return { belief: belief.map((x) => x / total), tags: tags.map((x) => x / total), fault: fault.map((x) => x / total) };
}

describe('wrong tags and faulty sites beside the sum over every way in which each site may err', () => {
  it('orders of conductors, probability of wrong tags and of a fault agree to 1e-6 (source: exhaustive enumeration)', () => {
    let [worst, told] = [0, 0];
    const off = (a: number, b: number) => {
      worst = Math.max(worst, Math.abs(a - b));
    };
    for (let seed = 1; seed <= 60; seed++) {
      const tree = randomTree(seed, 5);
      const read = sites(seed, tree);
      const evidence = read.map(evidenceOf);
      const truth = enumerated(tree, read);
      const solution = solve(tree, evidence);
      truth.belief.forEach((b, i) => {
        off(solution.belief[i]!, b);
      });
      for (const site of suspectSites(solution, evidence, 0)) {
        off(site.tagProbability, truth.tags[site.section]!);
        off(site.faultProbability, truth.fault[site.section]!);
        told++;
      }
    }
    console.log(`      greatest deviation ${worst.toExponential(1)} at ${told} sites`);
    // 32-bit beliefs.
    expect(worst).to.be.below(1e-6);
    expect(told).to.be.above(100);
  });
});
