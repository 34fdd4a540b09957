/**
 * Part of `npm run verify:rates`: how often the inference of a feeder is right, fixed seeds. Synthetic: no field data, and the feeders
 * are drawn from the same family of model that infers them; the 8500-node feeder is a published one with solved angles, its errors invented. Exit code 1 when a target is missed.
 * `tsx test/outside/feeder-rates.ts 10` runs a tenth of the feeders.
 */
import { case8500, describe8500, rates8500, tally8500 } from './rates/feeder-8500';
import { exactnessRates } from './rates/feeder-exactness';
import { nextRates } from './rates/feeder-next';
import { feederRates } from './rates/feeders';
import { met, table } from './rates/rate';

/** 1340 feeders of 1500 sections are two millions. */
const FEEDERS = 1340;
/** Times that the record of the 8500-node feeder is made wrong anew. */
const RECORDS = 600;

/** Groups of twenty feeders to visit. */
const GROUPS = 10;

const HEADS = [
  ['8500 nodes', undefined, 8500],
  ['8500 nodes behind Dyn1', 'hvmv_sub_hsb', 8501],
] as const;

if (require.main === module) {
  const part = Number(process.argv[2] ?? 1);
  const rates = feederRates(Math.max(1, Math.round(FEEDERS / part)), (line) => console.log(line));
  rates.push(...exactnessRates(), ...nextRates(Math.max(2, Math.round(GROUPS / part))));
  const records = Math.max(2, Math.round(RECORDS / part));
  for (const [what, source, seed] of HEADS) {
    const t = tally8500(case8500(source), seed, records);
    console.log(describe8500(t));
    rates.push(...rates8500(t, what));
  }
  console.log(table(rates));
  process.exitCode = rates.every(met) ? 0 : 1;
}
