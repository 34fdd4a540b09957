/** The PostgreSQL ledger beside one plain statement a batch that stores the same records on the same server, commits waiting for the disk. */
import { Client } from 'pg';
import { PostgresLedger } from '../../nodes/ledger/postgres/postgres-ledger';
import { startPostgres } from '../kit/postgres';
import { admitted, identification, reading } from '../nodes/ledger-samples';
import { type BenchRow, report } from './report';

const BATCH = 500;
const BATCHES = 40;
const terminal = (n: number) => `hollin-bank/F3/S${n % 400}/${n % 6}`;
const all = Array.from({ length: BATCH * BATCHES }, (_, n) => n);
const readings = all.map((n) => reading(terminal(n), n / 1000, { by: 'crew 4', instrument: { id: `P-${n % 20}` } }));
const findings = all
  .slice(0, 5000)
  .map((n) => identification(terminal(n), n / 1000, { from: [readings[n]!.id, readings[n + 1]!.id] }));

/** Records a second, from the median time of a batch. */
async function perSecond<T>(records: readonly T[], store: (batch: readonly T[]) => Promise<unknown>): Promise<number> {
  const times: number[] = [];
  for (let at = 0; at < records.length; at += BATCH) {
    const batch = records.slice(at, at + BATCH);
    const began = performance.now();
    await store(batch);
    times.push(performance.now() - began);
  }
  return BATCH / (times.sort((a, b) => a - b)[times.length >> 1]! / 1000);
}

async function main(): Promise<void> {
  const server = await startPostgres('on');
  const ledger = new PostgresLedger({ connection: server.connection });
  await ledger.open();
  const client = new Client({ connectionString: server.connection });
  await client.connect();
  const raw = async (records: readonly { readonly id: string }[], table: string) => {
    await client.query(
      `create table ${table} (seq bigint generated always as identity primary key, id text unique, body json)`,
    );
    return perSecond(records, (batch) =>
      client.query(
        `insert into ${table} (id, body) select i, b::json from unnest($1::text[], $2::text[]) as t (i, b)`,
        [batch.map((r) => r.id), batch.map((r) => JSON.stringify(r))],
      ),
    );
  };
  const beside = (what: string, unit: string, value: number, peer: number): BenchRow => ({
    what,
    value,
    unit,
    peer: { what: 'one raw insert a batch', value: peer },
    ratio: value / peer,
  });
  const admit = await perSecond(readings, (batch) => ledger.admit(batch.map(admitted), []));
  const keep = await perSecond(findings, (batch) => Promise.all(batch.map((f) => ledger.keep(f))));
  report('ledger in PostgreSQL', [
    beside(`admit, ${BATCH} together`, 'readings/s', admit, await raw(readings, 'raw_reading')),
    beside(`keep, ${BATCH} together`, 'findings/s', keep, await raw(findings, 'raw_finding')),
  ]);
  await client.end();
  await ledger.close();
  await server.stop();
}

void main();
