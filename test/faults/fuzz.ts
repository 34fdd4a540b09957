/**
 * `npm run fuzz`: a million hostile cases through every outside door. PHASELOOM_FUZZ_CASES and PHASELOOM_FUZZ_SEED say otherwise,
 * and names of doors after it (`npm run fuzz -- 'window of samples'`) try those alone.
 */
import { fuzz } from './fuzz-run';

async function main(): Promise<void> {
  const count = Number(process.env.PHASELOOM_FUZZ_CASES ?? 1_000_000);
  const seed = Number(process.env.PHASELOOM_FUZZ_SEED ?? Date.now() % 2 ** 31);
  console.log(`seed ${seed}, ${count} cases; the same again: PHASELOOM_FUZZ_SEED=${seed} npm run fuzz`);
  const began = performance.now();
  const { cases, failures } = await fuzz(count, seed, process.argv.slice(2));
  for (const [door, n] of Object.entries(cases)) console.log(`${door.padEnd(24)} ${n}`);
  for (const { door, seed: own, error } of failures) console.log(`FAILED ${door}, seed ${own}: ${error.stack}`);
  console.log(`${failures.length} failures in ${((performance.now() - began) / 1000).toFixed(1)} s`);
  process.exitCode = failures.length > 0 ? 1 : 0;
}

void main();
