import { expect } from 'chai';
import { allRates } from './rates';
import { chance } from './rates/chance';
import { limits } from './rates/limits';
import { met, table } from './rates/rate';

describe('error rates at a hundredth of the trials of `npm run verify:rates`', () => {
  const rates = allRates(100);
  it('shows a table', () => expect(table(rates).split('\n').length).to.equal(rates.length + 1));

  for (const r of rates) {
    it(`${r.target}: ${r.what}: ${r.count} of ${r.trials}, allowed ${r.most}`, () => {
      // So few trials cannot show a rate of parts per million: the target must lie inside the confidence limits.
      expect(met(r) || limits(r.count, r.trials).lower <= r.most, `${r.count} of ${r.trials}`).to.equal(true);
    });
  }
});

describe('confidence limits', () => {
  it('none of n: the closed form 1 - 0.025^(1/n) (Clopper and Pearson 1934, from memory)', () => {
    for (const n of [10, 1000, 1_000_000]) {
      expect(limits(0, n).lower).to.equal(0);
      expect(limits(0, n).upper / (1 - 0.025 ** (1 / n))).to.be.closeTo(1, 1e-6);
    }
  });
  it('5 of 10: 0.187 to 0.813 (Clopper and Pearson, from memory)', () => {
    expect(limits(5, 10).lower).to.be.closeTo(0.1871, 5e-5);
    expect(limits(5, 10).upper).to.be.closeTo(0.8129, 5e-5);
  });
  it('exact and approximate limits meet', () => {
    const [exact, wilson] = [limits(60, 1e6), limits(61, 1e6)];
    expect(wilson.upper / 61 / (exact.upper / 60)).to.be.closeTo(1, 0.03);
    expect(wilson.lower / 61 / (exact.lower / 60)).to.be.closeTo(1, 0.03);
  });
});

describe('the seeded chance of the rates', () => {
  it('has the moments of the normal distribution', () => {
    const dice = chance(1);
    const n = 200_000;
    let [m1, m2, m4] = [0, 0, 0];
    for (let i = 0; i < n; i++) {
      const x = dice.normal();
      m1 += x / n;
      m2 += x ** 2 / n;
      m4 += x ** 4 / n;
    }
    expect(m1).to.be.closeTo(0, 0.01);
    expect(m2).to.be.closeTo(1, 0.015);
    expect(m4).to.be.closeTo(3, 0.1);
  });
  it('is the same on every run', () => {
    expect([1, 2, 3].map(() => chance(7).uniform())).to.deep.equal([1, 2, 3].map(() => chance(7).uniform()));
  });
});
