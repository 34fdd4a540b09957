import { expect } from 'chai';
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
