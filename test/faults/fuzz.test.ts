import { expect } from 'chai';
import { fuzz } from './fuzz-run';
import { scaled, tell } from './scale';

const COUNT = scaled(8000, 200_000);
const SEED = 20_260_504;

describe('hostile input at every outside door', function () {
  this.timeout(300_000);

  it(`${COUNT} cases: an answer in our words each time, and nothing let in that breaks the schema`, async () => {
    const { cases, failures } = await fuzz(COUNT, SEED);
    const total = Object.values(cases).reduce((sum, n) => sum + n, 0);
    tell(`${Object.keys(cases).length} doors, seed ${SEED}`, {
      published: total,
      arrived: total - failures.length,
      duplicates: 0,
    });
    expect(failures.map(({ door, seed, error }) => `${door}, seed ${seed}: ${error.message}`)).to.deep.equal([]);
  });
});
