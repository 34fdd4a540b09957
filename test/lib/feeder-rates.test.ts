import { expect } from 'chai';
import { case8500, describe8500, rates8500, tally8500 } from '../outside/rates/feeder-8500';
import { exactnessRates } from '../outside/rates/feeder-exactness';
import { nextRates } from '../outside/rates/feeder-next';
import { feederRates } from '../outside/rates/feeders';
import { limitsOf, type Rate } from '../outside/rates/rate';

/** So few draws cannot show a rate: the target must lie inside or above the confidence limits. */
const held = (r: Rate) =>
  expect(limitsOf(r).lower, `${r.what}: ${r.count} of ${r.trials}, allowed ${r.most}`).to.be.at.most(r.most);

/** The full run is `npm run verify:rates`. Targets 6 and 7 (source: this project's prototypes, synthetic). */
describe('feeder inference at a tenth of the size of `npm run verify:rates`', function () {
  this.timeout(120_000);
  const rates = feederRates(67, (line) => console.log(`      ${line}`));
  for (const r of rates) it(`${r.target}: ${r.what}: ${r.count} of ${r.trials}, allowed ${r.most}`, () => held(r));

  it('asks for the right share of target 6: 94.5, 97.0 and 98.9 % at 1, 5 and 20 % read', () => {
    const asked = rates.filter((r) => r.what.endsWith('wrong sections')).map((r) => 1 - r.most);
    expect(asked.map((x) => x.toFixed(3))).to.deep.equal(['0.945', '0.970', '0.989']);
  });
});

describe('exactness, and where to read next, at a fifth of the size of `npm run verify:rates`', function () {
  this.timeout(120_000);
  for (const r of [...exactnessRates(), ...nextRates(2)]) {
    it(`${r.target}: ${r.what}: ${r.count} of ${r.trials}, allowed ${r.most}`, () => {
      expect(r.count / r.trials).to.be.at.most(r.most);
    });
  }
});

/** On the IEEE PES 8500-node feeder at the angles that OpenDSS solved; the limits are this project's own. */
describe('a wrong record of the 8500-node feeder at reduced size', () => {
  for (const [what, source, records] of [
    ['from its low-voltage bus', undefined, 20],
    ['through the substation transformer, which turns the angle', 'hvmv_sub_hsb', 4],
  ] as const) {
    it(`${what}: finds crossings, and errs rarely where it is sure`, function () {
      this.timeout(120_000);
      const all = tally8500(case8500(source), 851, records);
      console.log(`      ${describe8500(all)}`);
      for (const r of rates8500(all)) held(r);
    });
  }
});
