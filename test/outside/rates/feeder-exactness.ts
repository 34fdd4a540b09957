/** Whether the inference is exact: beside the sum over every joint state, and beside phasor arithmetic behind delta-star transformers. */
import { siteEvidence, slotLikelihood } from '../../../lib/feeder/evidence';
import { makeFeeder } from '../../../lib/feeder/model';
import { sameConductors } from '../../../lib/feeder/pair-factor';
import { PERMUTATIONS, permutationIndex } from '../../../lib/feeder/permutation';
import { bestProjection, solve } from '../../../lib/feeder/solve';
import { enumerate, randomEvidence, randomTree } from '../../lib/feeder-enumeration';
import type { Rate } from './rate';

const ABC = ['A', 'B', 'C'];

/** Target 5: feeders of which some probability is off by more than 1e-6. */
function inexact(what: string, feeders: number, loops: number): Rate {
  const off = Array.from({ length: feeders }, (_, i) => {
    const tree = { ...randomTree(500 + i, 6), mask: new Uint8Array(6).fill(7) };
    const evidence = randomEvidence(500 + i, tree);
    const factors = [sameConductors('a', 5, 1, 7), sameConductors('b', 4, 2, 7)].slice(0, loops);
    const { belief, change, factors: kept } = solve(tree, evidence, factors);
    const truth = enumerate(tree, evidence, kept);
    const worst = Math.max(
      ...truth.belief.map((b, j) => Math.abs(b - belief[j]!)),
      ...truth.change.map((c, v) => Math.abs(c - change[v]!)),
    );
    return worst > 1e-6;
  });
  return { target: '5', what, trials: feeders, count: off.filter((x) => x).length, most: 0 };
}

/**
 * Phasor arithmetic, not the model's rule: each secondary phasor of a delta-star transformer is the voltage of a primary winding
 * that lies between two legs. Dyn11 lies from the leg to the next one, Dyn1 from the leg to the one before.
 */
export function secondaryDeg(group: string, s: readonly number[], leg: number): number {
  const at = (j: number) => (-120 * s[j % 3]! * Math.PI) / 180;
  const other = group === 'Dyn11' ? leg + 1 : leg + 2;
  const re = Math.cos(at(leg)) - Math.cos(at(other));
  const im = Math.sin(at(leg)) - Math.sin(at(other));
  return (Math.atan2(im, re) * 180) / Math.PI;
}

/** What the trace of a line and a transformer makes of the angles read behind it, when the line's legs stand at s. */
export function behindTransformer(group: string, s: readonly number[]) {
  const feeder = makeFeeder({
    id: 'F',
    source: 'a',
    sections: [
      { id: 'line', from: 'a', to: 'b', phases: ABC, changePrior: 0.1 },
      { id: 'service', from: 'c', to: 'd', phases: ABC },
    ],
    transformers: [{ id: 'T', from: 'b', to: 'c', phases: ABC, vectorGroup: group }],
  });
  const conductors = [0, 1, 2].map((conductor) => ({
    conductor,
    slots: slotLikelihood(secondaryDeg(group, s, conductor), 5, 0.005),
  }));
  const [service, line] = [feeder.indexOf.get('service')!, feeder.indexOf.get('line')!];
  const solution = solve(feeder, [siteEvidence(service, ['r'], conductors, undefined, true)]);
  return { service: bestProjection(solution, service), line: bestProjection(solution, line) };
}

/** Targets 5 and 9. */
export function exactnessRates(): Rate[] {
  const cases = ['Dyn1', 'Dyn11'].flatMap((group) => PERMUTATIONS.map((s) => ({ group, s })));
  const wrong = cases.filter(({ group, s }) => {
    const { service, line } = behindTransformer(group, s);
    return service.state !== permutationIndex(s) || line.state !== permutationIndex(s);
  });
  return [
    inexact('a probability off by more than 1e-6 beside enumeration, no loops', 60, 0),
    inexact('a probability off by more than 1e-6 beside enumeration, two loops', 40, 2),
    {
      target: '9',
      what: 'orders of conductors named wrong behind Dyn1 and Dyn11',
      trials: cases.length,
      count: wrong.length,
      most: 0,
    },
  ];
}
