import { expect } from 'chai';
import { case8500, describe8500, tally8500 } from '../outside/rates/feeder-8500';
import { tallyFeeders } from '../outside/rates/feeders';

/** A ninth of the full size; the full run is `npm run verify:rates`. Limits of target 6 (source: this project's prototypes, synthetic). */
describe('feeder inference at reduced size', () => {
  for (const { share, right, seed } of [
    { share: 0.05, right: 0.97, seed: 601 },
    { share: 0.2, right: 0.989, seed: 602 },
  ]) {
    it(`${100 * share} % of sections read: fewer wrong than nearest upstream, and calibrated where it is sure`, function () {
      this.timeout(60_000);
      const t = tallyFeeders(seed, 15, share);
      const rightShare = 1 - t.wrong / t.sections;
      console.log(`      right ${(100 * rightShare).toFixed(2)} % (aim at full size ${100 * right} %)`);
      expect(t.wrong).to.be.below(t.upstreamWrong / 2);
      expect(t.wrong).to.be.below(t.recordWrong / 2);
      // Sections below one crossing err together: wider than the full size's .5 point.
      for (const b of t.bins) expect(Math.abs(b.stated - b.right) / Math.max(1, b.n)).to.be.below(0.015);
    });
  }
});

/** A tenth of the full size, on the IEEE PES 8500-node feeder at the angles that OpenDSS solved; the limits are this project's own. */
describe('a wrong record of the 8500-node feeder at reduced size', () => {
  for (const [what, source, runs] of [
    ['from its low-voltage bus', undefined, 6],
    ['through the substation transformer, which turns the angle', 'hvmv_sub_hsb', 2],
  ] as const) {
    it(`${what}: finds crossings, and errs rarely where it is sure`, function () {
      this.timeout(60_000);
      const t = tally8500(case8500(source), 851, runs);
      console.log(`      ${describe8500(t)}`);
      // Sections below one crossing err together: wider than what the full size is held to.
      expect(t.confidentWrong / t.confident).to.be.below(0.01);
      expect(t.offeredWrong / t.offered).to.be.below(0.05);
      expect(t.found / t.visible).to.be.above(0.5);
      expect(t.wrong).to.be.below(t.upstreamWrong / 2);
    });
  }
});
