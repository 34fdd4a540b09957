import { expect } from 'chai';
import { siteEvidence, slotLikelihood } from '../../lib/feeder/evidence';
import { makeFeeder } from '../../lib/feeder/model';
import { PERMUTATIONS, permutationIndex } from '../../lib/feeder/permutation';
import { bestProjection, solve } from '../../lib/feeder/solve';

const feeder = (vectorGroup: string) =>
  makeFeeder({
    id: 'F',
    source: 'a',
    sections: [
      { id: 'line', from: 'a', to: 'b', phases: ['A', 'B', 'C'], changePrior: 0.1 },
      { id: 'service', from: 'c', to: 'd', phases: ['A', 'B', 'C'] },
    ],
    transformers: [{ id: 'T', from: 'b', to: 'c', phases: ['A', 'B', 'C'], vectorGroup }],
  });

/**
 * Phasor arithmetic, not the model's rule: each secondary phasor of a delta-star transformer is the voltage of a primary winding
 * that lies between two legs. Dyn11 lies from the leg to the next one, Dyn1 from the leg to the one before.
 */
function secondaryDeg(group: string, s: readonly number[], leg: number): number {
  const at = (j: number) => (-120 * s[j % 3]! * Math.PI) / 180;
  const other = group === 'Dyn11' ? leg + 1 : leg + 2;
  const re = Math.cos(at(leg)) - Math.cos(at(other));
  const im = Math.sin(at(leg)) - Math.sin(at(other));
  return (Math.atan2(im, re) * 180) / Math.PI;
}

describe('through a delta-star transformer', () => {
  for (const group of ['Dyn11', 'Dyn1']) {
    for (const s of PERMUTATIONS) {
      it(`${group}: legs on ${s.map((i) => 'ABC'[i]).join('')} are named right from secondary angles (source: phasor arithmetic)`, () => {
        const f = feeder(group);
        const conductors = [0, 1, 2].map((conductor) => ({
          conductor,
          slots: slotLikelihood(secondaryDeg(group, s, conductor), 5, 0.005),
        }));
        const section = f.indexOf.get('service')!;
        const solution = solve(f, [siteEvidence(section, ['r'], conductors, undefined, true)]);
        const { state, probability } = bestProjection(solution, section);
        expect(state).to.equal(permutationIndex(s));
        expect(probability).to.be.above(0.5);
        expect(bestProjection(solution, f.indexOf.get('line')!).state).to.equal(state);
      });
    }
  }
});
