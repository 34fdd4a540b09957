import { expect } from 'chai';
import { PERMUTATIONS, permutationIndex } from '../../lib/feeder/permutation';
import { behindTransformer } from '../outside/rates/feeder-exactness';

describe('through a delta-star transformer', () => {
  for (const group of ['Dyn11', 'Dyn1']) {
    for (const s of PERMUTATIONS) {
      it(`${group}: legs on ${s.map((i) => 'ABC'[i]).join('')} are named right from secondary angles (source: phasor arithmetic)`, () => {
        const { service, line } = behindTransformer(group, s);
        expect(service.state).to.equal(permutationIndex(s));
        expect(service.probability).to.be.above(0.5);
        expect(line.state).to.equal(service.state);
      });
    }
  }
});
