/** A program that writes into a ledger until it is killed, and says on standard output what was promised to be stored. */
import { writeSync } from 'node:fs';
import { SqliteLedger } from '../../nodes/ledger/sqlite/sqlite-ledger';
import { admitted, alert, identification, reading, rejection } from './ledger-samples';

const [file, run] = process.argv.slice(2) as [string, string];
const say = (ids: readonly string[]) => writeSync(1, `${ids.join('\n')}\n`);

async function front(ledger: SqliteLedger): Promise<never> {
  for (let n = 0; ; n++) {
    const batch = Array.from({ length: 20 }, (_, i) => reading(`run${run}/${n}/${i}`, n));
    const turned = rejection(`run${run}/${n}`, n);
    await ledger.admit(batch.map(admitted), [turned]);
    say([...batch, turned].map((r) => r.id));
  }
}

async function back(ledger: SqliteLedger): Promise<never> {
  for (let n = 0; ; n++) {
    const findings = Array.from({ length: 10 }, (_, i) => identification(`run${run}/${i}`, n));
    const raised = alert(`run${run}/${n}`, 1, n);
    const delivery = { destination: 'd', key: raised.id, subject: `run${run}`, record: raised };
    await Promise.all([...findings.map((f) => ledger.keep(f)), ledger.saveAlert(raised, [delivery])]);
    say([...findings, raised].map((r) => r.id));
  }
}

async function main(): Promise<void> {
  const ledger = new SqliteLedger({ file });
  await ledger.open();
  await Promise.all([front(ledger), back(ledger)]);
}

main().catch((error) => {
  console.error(error);
  process.exit(1);
});
