/** One worker and two with the same readings: from the first publication until every reading of a conductor is judged. */
import { setTimeout as sleep } from 'node:timers/promises';
import { startPostgres } from '../kit/postgres';
import { crew, story } from '../kit/workers';
import { report } from './report';

const READINGS = story(40);
const UNJUDGED = `select count(*)::int as n from phaseloom.reading r where terminal <> '650/A'
  and not exists (select 1 from phaseloom.finding_source s where s.source_id = r.id)
  and not exists (select 1 from phaseloom.rejection j where j.body->'from'->>0 = r.id)`;

/** Readings a second through the whole flow. */
async function rate(connection: string, workers: number): Promise<number> {
  const it = await crew(connection, `bench${workers}`, workers, { gatherMs: 200 });
  try {
    const beganMs = performance.now();
    await it.publish(READINGS, 100_000);
    for (let left = 1; left > 0; await sleep(100)) {
      const [stored] = await it.sql<{ n: number }>('select count(*)::int as n from phaseloom.reading');
      left = stored!.n < READINGS.length ? 1 : (await it.sql<{ n: number }>(UNJUDGED))[0]!.n;
    }
    return READINGS.length / ((performance.now() - beganMs) / 1000);
  } finally {
    await it.stop();
  }
}

async function main(): Promise<void> {
  const server = await startPostgres('on');
  const one = await rate(server.connection, 1);
  const two = await rate(server.connection, 2);
  await server.stop();
  report('workers', [
    {
      what: `${READINGS.length} readings stored, judged, told: two workers`,
      value: two,
      unit: 'readings/s',
      peer: { what: 'one worker', value: one },
      ratio: two / one,
    },
  ]);
}

main().then(
  () => process.exit(0),
  (cause) => {
    console.error(cause);
    process.exit(1);
  },
);
