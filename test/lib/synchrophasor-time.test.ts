import { expect } from 'chai';
import fc from 'fast-check';
import {
  bindChannels,
  type ConfigFrame,
  type DataFrame,
  decodeFrame,
  encodeFrame,
  frameTime,
  instantUs,
  readingsOf,
  Thinning,
} from '../../lib/synchrophasor';
import { pmuConfig, pmuData } from '../kit/pmu';

const config = pmuConfig();
const { channels } = bindChannels(config, [{ pmu: 7, channel: 'VA', terminal: 's/1' }]);
const at = (time: Partial<DataFrame['time']>, c: ConfigFrame = config) => {
  const frame = { ...pmuData(c, 0), time: { soc: 1_772_000_000, fraction: 0, quality: 0, ...time } };
  return readingsOf(c, frame, channels, { source: 'gnss', lockedErrorUs: 1 });
};

// Bits from memory of IEEE C37.118.2-2011, 6.2.2.
describe('the time of a synchrophasor stream', () => {
  it('is the same through frames of any TIME_BASE, within half a tick', () =>
    fc.assert(
      fc.property(fc.integer({ min: 1, max: 0xffffff }), fc.nat(999_999), (timeBase, fractionUs) => {
        const c = { ...config, timeBase };
        const us = 1_772_000_000e6 + fractionUs;
        const decoded = decodeFrame(encodeFrame({ ...pmuData(c, us), time: frameTime(us, timeBase) }, c), c);
        if (!decoded.ok) return expect.fail(decoded.problem.what);
        expect(decoded.frame.time.fraction).to.be.lessThan(timeBase);
        expect(Math.abs(instantUs(decoded.frame.time, timeBase) - us)).to.be.at.most(0.5e6 / timeBase + 0.5);
      }),
      { seed: 118, numRuns: 500 },
    ));

  it('beyond the end of its second is refused', () => {
    expect(at({ fraction: 999_999 }).readings).to.have.length(1);
    const { readings, refused } = at({ fraction: 1_000_000 });
    expect(readings).to.deep.equal([]);
    expect(refused[0]!.problem).to.include({ at: '/fracSec', code: 'fraction-beyond-second' });
  });

  it('in the second of a leap second is not relied on; before and after it is', () => {
    const midnight = 1_483_228_800; // 2017-01-01, after the leap second of 2016 (IERS Bulletin C 52)
    const clock = (soc: number, quality: number) => at({ soc, quality }).readings[0]!.clock;
    const sure = { source: 'gnss', errorUs: 1, locked: true };
    const doubtful = { source: 'gnss', errorUs: 1e6, locked: false };
    expect(clock(midnight - 2, 0x10)).to.deep.equal(sure);
    expect(clock(midnight - 1, 0x10)).to.deep.equal(doubtful);
    expect(clock(midnight, 0x20)).to.deep.equal(doubtful);
    expect(clock(midnight + 1, 0x20)).to.deep.equal(sure);
    expect(clock(midnight - 1, 0)).to.deep.equal(sure);
    expect(at({ soc: midnight, quality: 0x20 }).readings[0]!.note).to.match(/leap second/);
  });

  it('thins by what has passed, whatever overtakes what, and begins anew after a restart', () => {
    const thinning = new Thinning(1e6);
    const passed = [0, 0.4, 1.0, 0.97, 0.2, 1.5, 2.1, 2.05].filter((s) => thinning.passes('a', s * 1e6));
    expect(passed).to.deep.equal([0, 1.0, 2.1]);
    expect(thinning.passes('a', -60e6)).to.equal(true);
    expect(thinning.passes('a', -59.5e6)).to.equal(false);
    expect(thinning.passes('b', -59.5e6)).to.equal(true);
    expect(thinning.passes('a', 4e15)).to.equal(true); // a stamp out of the future
    expect(thinning.passes('a', -58e6)).to.equal(true); // does not hold up those after it
  });
});
