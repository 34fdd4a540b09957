import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from 'chai';
import fc from 'fast-check';
import pg from 'pg';
import { Holder, LEASE_MS } from '../../nodes/kit/holder';
import type { Sharing } from '../../nodes/kit/sharing';
import { PostgresLedger } from '../../nodes/ledger/postgres/postgres-ledger';
import { type PostgresServer, startPostgres } from '../kit/postgres';
import { admitted, identification, reading } from './ledger-samples';

const NAMES = Array.from({ length: 10 }, (_, n) => `lane ${n}`);
const QUIET = { gained: () => undefined, lost: () => undefined, mayLeave: () => true };

describe('claims of several workers in PostgreSQL', function () {
  this.timeout(60_000);
  let server: PostgresServer;
  let one: PostgresLedger;
  let two: PostgresLedger;
  before(async () => {
    server = await startPostgres();
    // The clock of the second worker is an hour ahead.
    one = new PostgresLedger({ connection: server.connection });
    two = new PostgresLedger({ connection: server.connection, nowUs: () => (Date.now() + 3_600_000) * 1000 });
    for (const ledger of [one, two]) await ledger.open();
  });
  after(async () => {
    for (const ledger of [one, two]) await ledger.close();
    await server.stop();
  });

  const hold = async (sharing: Sharing, scope: string, holder: string, leaseMs: number, giveBack: string[] = []) =>
    (await sharing.hold({ scope, holder, names: NAMES, giveBack, leaseMs })).claims.map(({ name }) => name);

  it('are shared evenly, and what is given back goes to the other', async () => {
    const all = await hold(one.sharing, 'even', 'a', 60_000);
    expect(all).to.have.length(10);
    expect(await hold(two.sharing, 'even', 'b', 60_000), 'none is free').to.deep.equal([]);
    const kept = await hold(one.sharing, 'even', 'a', 60_000, all.slice(5));
    expect(kept).to.have.length(5);
    expect(await hold(two.sharing, 'even', 'b', 60_000)).to.have.members(all.slice(5));
  });

  it('lapse by the clock of the database, and are then told of', async () => {
    await hold(one.sharing, 'lapse', 'a', 300);
    expect(await hold(two.sharing, 'lapse', 'b', 300)).to.deep.equal([]);
    await sleep(400);
    expect(await one.sharing.lapsed('lapse', 0)).to.have.members(NAMES);
    expect(await hold(two.sharing, 'lapse', 'b', 5000)).to.have.length(10);
    expect(await one.sharing.lapsed('lapse', 0)).to.deep.equal([]);
  });

  it('lapse within a lease when the clock of the database is set back, and at once when it is set forward', async () => {
    // Set back by an hour is to the rows as if all of them ended an hour later.
    const set = async (byUs: number) => {
      for (const table of ['claim', 'worker'])
        await server.sql(
          `update phaseloom.${table} set until_us = until_us - ${byUs} where scope = 'set' and until_us > 0`,
        );
    };
    const HOUR_US = 3_600_000_000;
    await hold(one.sharing, 'set', 'dead', 500);
    await set(-HOUR_US);
    expect(await hold(two.sharing, 'set', 'alive', 500), 'they may be renewed yet').to.deep.equal([]);
    await sleep(600);
    expect(await hold(two.sharing, 'set', 'alive', 500), 'all of the dead').to.have.length(10);
    await set(-HOUR_US);
    expect(await hold(one.sharing, 'set', 'other', 500)).to.deep.equal([]);
    expect(await hold(two.sharing, 'set', 'alive', 500), 'who lives renews').to.have.length(10);
    await sleep(600);
    await hold(two.sharing, 'set', 'alive', 60_000);
    await set(HOUR_US);
    expect(await hold(one.sharing, 'set', 'other', 60_000), 'an hour later everybody was gone').to.have.length(10);
    expect(await hold(two.sharing, 'set', 'alive', 60_000), 'and who was not, sees it').to.deep.equal([]);
  });

  it('are never held by two, for whatever order of beats, deaths and returns (property, 25 cases)', async () => {
    let run = 0;
    const beats = fc.array(fc.record({ who: fc.integer({ min: 0, max: 3 }), leaves: fc.boolean() }), {
      minLength: 4,
      maxLength: 12,
    });
    await fc.assert(
      fc.asyncProperty(beats, async (steps) => {
        const scope = `property ${run++}`;
        const results = await Promise.all(
          steps.map(async ({ who, leaves }, i) => {
            const { sharing } = i % 2 ? two : one;
            const held = await hold(sharing, scope, `w${who}`, 60_000);
            if (leaves) await sharing.leave(scope, `w${who}`);
            return { who, held };
          }),
        );
        expect(results.flatMap((r) => r.held).every((name) => NAMES.includes(name))).to.equal(true);
        const rows = (await server.sql(
          `select name, count(distinct holder)::int as n from phaseloom.claim where scope = '${scope}' and holder <> '' group by name`,
        )) as { n: number }[];
        expect(rows.every(({ n }) => n === 1)).to.equal(true);
        const now = await Promise.all([0, 1, 2, 3].map((w) => hold(one.sharing, scope, `w${w}`, 60_000)));
        const names = now.flat();
        expect(new Set(names).size, 'held at one time').to.equal(names.length);
        expect(names).to.have.members(NAMES);
      }),
      { seed: 7, numRuns: 25 },
    );
  });

  it('are given up and taken though the server ends one of two statements that wait for each other', async () => {
    await hold(one.sharing, 'knot', 'a', 60_000);
    const other = new pg.Client(server.connection);
    await other.connect();
    try {
      // The other waits for longer than ours: the server ends ours.
      await other.query("begin; set local deadlock_timeout = '20s'");
      const touch = (name: string) =>
        other.query("update phaseloom.claim set term = term where scope = 'knot' and name = $1", [name]);
      await touch('lane 9');
      const left = one.sharing.leave('knot', 'a');
      await sleep(200);
      await touch('lane 0');
      await other.query('commit');
      await left;
    } finally {
      await other.end();
    }
    expect(await hold(two.sharing, 'knot', 'b', 60_000), 'all were given up').to.have.length(10);
  });

  it('are believed in no longer than the ledger keeps them: a worker that cannot renew stops before another begins', async () => {
    let isCut = false;
    const cut = new Proxy(one.sharing, {
      get: (sharing, verb) =>
        verb === 'hold' && isCut
          ? () => Promise.reject(new Error('cut off'))
          : (sharing[verb as 'hold'] as (...a: never[]) => unknown).bind(sharing),
    });
    const first = new Holder(cut, 'belief', 'a', NAMES, QUIET);
    await first.start();
    expect(first.held.size).to.equal(10);
    const lost: string[] = [];
    const second = new Holder(two.sharing, 'belief', 'b', NAMES, { ...QUIET, lost: (names) => lost.push(...names) });
    await second.start();
    isCut = true;
    let both = 0;
    const deadline = performance.now() + 3 * LEASE_MS;
    while (second.held.size < 10 && performance.now() < deadline) {
      const mine = first.held;
      both += [...second.held].filter((name) => mine.has(name)).length;
      await sleep(20);
    }
    expect(second.held.size, 'taken over').to.equal(10);
    expect(first.held.size).to.equal(0);
    expect(both, 'held by two at one moment').to.equal(0);
    await first.close();
    await second.close();
  });

  it('commits of one worker are told to the listeners of the other, once each; and that readings came', async () => {
    const heard: string[][] = [[], []];
    const readings = [0, 0];
    const stops = [one, two].flatMap((ledger, i) => [
      ledger.onCommit((records) => heard[i]!.push(...records.map((r) => r.id))),
      ledger.sharing.onReadings(() => readings[i]!++),
    ]);
    const said = Array.from({ length: 20 }, (_, n) => identification(`n/${n}`, n));
    await Promise.all(said.map((finding, n) => (n % 2 ? one : two).keep(finding)));
    await one.admit([admitted(reading('n/1', 1))], []);
    const ids = said.map((f) => f.id).sort();
    for (let i = 0; (heard.some((h) => h.length < 20) || readings.includes(0)) && i < 200; i++) await sleep(20);
    await sleep(200);
    for (const h of heard) expect(h.sort()).to.deep.equal(ids);
    expect(readings.every((n) => n > 0)).to.equal(true);
    for (const stop of stops) stop();
  });

  it('and also when the connection for notices was cut', async () => {
    const heard: string[] = [];
    const stop = two.onCommit((records) => heard.push(...records.map((r) => r.id)));
    await server.sql(
      "select pg_terminate_backend(pid) from pg_stat_activity where application_name = 'phaseloom ledger' and query ilike 'listen%'",
    );
    const finding = identification('cut/1', 1);
    await one.keep(finding);
    for (let i = 0; heard.length < 1 && i < 300; i++) await sleep(20);
    expect(heard).to.deep.equal([finding.id]);
    stop();
  });
});
