/** What the chain of digests costs: readings admitted with it, beside the same ledger without it, in turns. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { SqliteLedger } from '../../nodes/ledger/sqlite/sqlite-ledger';
import { admitted, reading } from '../nodes/ledger-samples';
import { report } from './report';

const BATCH = 500;
const BATCHES = 40;
const TURNS = 9;

async function readingsPerSecond(withChain: boolean, turn: number): Promise<number> {
  const folder = mkdtempSync(join(tmpdir(), 'phaseloom-bench-'));
  const ledger = new SqliteLedger({ file: join(folder, 'ledger.sqlite'), durability: 'normal' });
  await ledger.open();
  const { parts } = ledger as unknown as { parts: { chain: { seal(): void } } };
  if (!withChain) parts.chain.seal = () => undefined;
  const batches = Array.from({ length: BATCHES }, (_, b) =>
    Array.from({ length: BATCH }, (_, i) => admitted(reading(`x/${i}`, turn * 1e5 + b + i / 1000))),
  );
  const began = performance.now();
  for (const batch of batches) await ledger.admit(batch, []);
  const rate = (BATCH * BATCHES * 1000) / (performance.now() - began);
  await ledger.close();
  rmSync(folder, { recursive: true, force: true });
  return rate;
}

async function main(): Promise<void> {
  const turns: { bare: number; chained: number }[] = [];
  for (let turn = 0; turn < TURNS; turn++) {
    turns.push({ bare: await readingsPerSecond(false, turn), chained: await readingsPerSecond(true, turn) });
  }
  const ratio = median(turns.map((t) => t.chained / t.bare));
  const chained = median(turns.map((t) => t.chained));
  const bare = median(turns.map((t) => t.bare));
  report('the chain of digests', [
    {
      what: `admit batches of ${BATCH}, medians of ${TURNS} turns`,
      value: chained,
      unit: 'readings/s',
      peer: { what: 'without the chain', value: bare },
      ratio,
    },
  ]);
}

const median = (values: readonly number[]): number => [...values].sort((a, b) => a - b)[values.length >> 1]!;

void main();
