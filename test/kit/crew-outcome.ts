/** What several workers found and told in the end, as it stands in their ledger. */
import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from 'chai';
import type { Reading } from '../../lib';
import { until } from '../faults/scale';
import type { Crew } from './workers';

/** Longer than readings are gathered and a lease lasts, in half seconds. */
const STILL = 24;

export type Outcome = Awaited<ReturnType<typeof outcome>>;

/** Everything that was found and told, apart from when: what must not depend on how many workers there were. */
export async function outcome(one: Crew) {
  const ids = async (what: string) =>
    (await one.sql<{ id: string }>(`select id from phaseloom.${what} order by id`)).map((r) => r.id);
  return {
    // Not what was superseded: of moments in between, workers that store in another order judge other sets.
    holds: await ids("finding where superseded_by is null and subject <> '650/A'"),
    says: await one.sql<{ kind: string }>(
      `select kind, about, verdict, body->>'phase' as phase, body->>'sequence' as sequence from phaseloom.finding
       where superseded_by is null and subject <> '650/A' order by kind, about`,
    ),
    rejections: await ids('rejection'),
    alerts: await one.sql<{ key: string }>(
      "select key, state, active, body->>'says' as says from phaseloom.alert order by key",
    ),
    calls: await one.sql(
      "select key, count(*)::int as n from phaseloom.alert_transition where transition = 'raised' group by key order by key",
    ),
  };
}

export const count = async (one: Crew, what: string): Promise<number> =>
  (await one.sql<{ n: number }>(`select count(*)::int as n from ${what}`))[0]!.n;

/** Readings of conductors on which neither a finding nor a rejection rests. */
const UNJUDGED = `phaseloom.reading r where terminal <> '650/A'
  and not exists (select 1 from phaseloom.finding_source s where s.source_id = r.id)
  and not exists (select 1 from phaseloom.rejection j where j.body->'from'->>0 = r.id)`;

/** Publishes, and waits until all is stored and judged and nothing moves any more. */
export async function carried(one: Crew, readings: readonly Reading[], meanwhile?: Promise<unknown>): Promise<Outcome> {
  await Promise.all([one.publish(readings, 100), meanwhile]);
  await until(async () => (await count(one, 'phaseloom.reading')) === readings.length, 90_000);
  await until(async () => (await count(one, UNJUDGED)) === 0, 90_000);
  await quiet(one);
  expect(await count(one, 'phaseloom.reading'), 'readings stored').to.equal(readings.length);
  expect(await count(one, UNJUDGED), 'readings that nothing rests on').to.equal(0);
  return outcome(one);
}

/** Nothing is stored, found or handed on any more. */
async function quiet(one: Crew): Promise<void> {
  let before = '';
  for (let still = 0; still < STILL; ) {
    await sleep(500);
    const now = JSON.stringify([
      await count(one, 'phaseloom.finding'),
      await count(one, 'phaseloom.alert_transition'),
      await count(one, "phaseloom.delivery where state = 'waiting'"),
      one.outside.calls,
    ]);
    still = now === before ? still + 1 : 0;
    before = now;
  }
}
