/**
 * `npm run verify:rates`: error rates by Monte Carlo, fixed seeds, with 95 % confidence limits. Synthetic: no field data.
 * Exit code 1 when a target is missed. `npm run verify:rates 10` runs a tenth of the trials.
 */

import { offsetRates } from './rates/offsets';
import { oneConductorRates } from './rates/one-conductor';
import { openPointRates } from './rates/open-points';
import { met, type Rate, table } from './rates/rate';
import { referenceRates } from './rates/references';
import { consistencyRates, forcedSiteRate, grossSiteRates } from './rates/sites';

const MILLION = 1_000_000;

/** All rates; `part` 1 for the full number of trials, 100 for a hundredth. */
export function allRates(part: number, say: (what: string) => void = () => undefined): Rate[] {
  const trials = Math.round(MILLION / part);
  const runs: [string, () => Rate[]][] = [
    ['one conductor', () => oneConductorRates(trials)],
    ['calibration', () => offsetRates(trials)],
    ['site, forced', () => [forcedSiteRate(trials)]],
    ['site, gross errors', () => grossSiteRates(trials)],
    ['site, inconsistent', () => consistencyRates(Math.round(trials / 10))],
    ['open point', () => openPointRates(trials)],
    ['reference', () => referenceRates(Math.max(20, Math.round(trials / 1000)))],
  ];
  return runs.flatMap(([what, run]) => {
    const began = performance.now();
    const rates = run();
    say(`${what}: ${((performance.now() - began) / 1000).toFixed(1)} s`);
    return rates;
  });
}

if (require.main === module) {
  const rates = allRates(Number(process.argv[2] ?? 1), (what) => console.error(what));
  console.log(table(rates));
  process.exitCode = rates.every(met) ? 0 : 1;
}
