import { expect } from 'chai';
import { type PostgresServer, startPostgres } from '../kit/postgres';
import { type Crew, crew, holders, LANES, story } from '../kit/workers';
import { scaled, tell, until } from './scale';

const ROUNDS = scaled(9, 60);
/** Lease 5 s and beat 1 s, and what a busy machine needs. */
const LANES_WITHIN_MS = 20_000;
/** Lease 5 s, 10 s in which a restarted worker would be back, 3 s of looking. */
const SESSION_WITHIN_MS = 60_000;

describe('a worker killed and not started again', function () {
  this.timeout(240_000);
  let server: PostgresServer;
  let two: Crew;
  before(async () => {
    server = await startPostgres();
    two = await crew(server.connection, 'takeover', 2);
  });
  after(async () => {
    await two?.stop();
    await server?.stop();
  });

  const count = async (what: string) => (await two.sql<{ n: number }>(`select count(*)::int as n from ${what}`))[0]!.n;
  const stored = () => count('phaseloom.reading');
  /** Readings of conductors on which no finding and no rejection rests. */
  const unjudged = () =>
    count(`phaseloom.reading r where terminal <> '650/A'
      and not exists (select 1 from phaseloom.finding_source s where s.source_id = r.id)
      and not exists (select 1 from phaseloom.rejection j where j.body->'from'->>0 = r.id)`);

  const reached = async (what: string, holds: () => Promise<boolean>, withinMs: number) =>
    expect(await until(holds, withinMs), `${what} within ${withinMs} ms`).to.equal(true);

  it('is replaced: its lanes, what it stored and never sent, and what the broker keeps for it', async () => {
    const readings = story(ROUNDS);
    const published = two.publish(readings, 150);
    await reached('a quarter stored', async () => (await stored()) > readings.length / 4, 60_000);
    await two.workers[0]!.kill();
    const killedMs = performance.now();
    const isAlone = async () => (await holders(two.sql)).some((h) => h.lanes === LANES);
    await reached('all lanes with the other', isAlone, LANES_WITHIN_MS);
    const lanesS = Math.round(performance.now() - killedMs) / 1000;
    expect(await holders(two.sql)).to.have.length(1);
    await published;
    await reached('all stored', async () => (await stored()) === readings.length, SESSION_WITHIN_MS);
    const sessionS = Math.round(performance.now() - killedMs) / 1000;
    await reached('all judged', async () => (await unjudged()) === 0, 30_000);
    const arrived = await stored();
    tell('one of two killed for good', {
      published: readings.length,
      arrived,
      duplicates: arrived - (await count('(select distinct id from phaseloom.reading) d')),
      'lanes taken over, s': lanesS,
      'all stored, s': sessionS,
      unjudged: await unjudged(),
    });
    expect(arrived).to.equal(readings.length);
    expect(await unjudged()).to.equal(0);
  });
});
