/**
 * Part of `npm run verify:rates`: how often the inference of a feeder is right, fixed seeds. Synthetic: no field data, and the feeders
 * are drawn from the same family of model that infers them. Exit code 1 when a target is missed.
 * `tsx test/outside/feeder-rates.ts 10` runs a tenth of the feeders.
 */
import { feederRates } from './rates/feeders';
import { met, table } from './rates/rate';

/** 134 feeders of 1500 sections are 200 000. */
const FEEDERS = 134;

if (require.main === module) {
  const part = Number(process.argv[2] ?? 1);
  const rates = feederRates(Math.max(1, Math.round(FEEDERS / part)), (line) => console.log(line));
  console.log(table(rates));
  process.exitCode = rates.every(met) ? 0 : 1;
}
