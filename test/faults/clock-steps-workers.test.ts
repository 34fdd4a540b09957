import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { expect } from 'chai';
import { carried, count, type Outcome } from '../kit/crew-outcome';
import { type PostgresServer, startPostgres } from '../kit/postgres';
import { type Crew, crew, holders, LANES, story } from '../kit/workers';
import { scaled, tell, until } from './scale';

const READINGS = story(scaled(5, 30));
const HOUR_MS = 3_600_000;
const PRELOAD = resolve(__dirname, '../kit/shifted-clock.cjs');

describe('the clocks of the workers are set', function () {
  this.timeout(300_000);
  let server: PostgresServer;
  let folder: string;
  let workers: Crew | undefined;
  let alone: Outcome;
  before(async () => {
    server = await startPostgres();
    folder = mkdtempSync(join(tmpdir(), 'phaseloom-clock-'));
    workers = await crew(server.connection, 'alone', 1);
    alone = await carried(workers, READINGS);
  });
  afterEach(async () => {
    await workers?.stop();
    workers = undefined;
    delete process.env.CLOCK_FILE;
  });
  after(async () => {
    await workers?.stop();
    await server?.stop();
    rmSync(folder, { recursive: true, force: true });
  });

  for (const [name, shiftMs] of [
    ['back by an hour', -HOUR_MS],
    ['forward by an hour', HOUR_MS],
  ] as const) {
    it(`${name} in mid-stream: lanes stay held, and what is found and told is what one worker finds`, async () => {
      await workers?.stop();
      process.env.CLOCK_FILE = join(folder, `shift${shiftMs}`);
      const pair = await crew(server.connection, shiftMs < 0 ? 'back' : 'forward', 2, {}, PRELOAD);
      workers = pair;
      let atStep = 0;
      const set = async () => {
        await until(async () => (await count(pair, 'phaseloom.reading')) > READINGS.length / 3, 60_000);
        atStep = await count(pair, 'phaseloom.reading');
        writeFileSync(process.env.CLOCK_FILE!, String(shiftMs));
      };
      const found = await carried(pair, READINGS, set());
      const held = await holders(pair.sql);
      const [seen] = await pair.sql<{ step: number }>(
        'select ((max(received_at_us) - min(received_at_us)) / 1000)::float8 as step from phaseloom.reading',
      );
      tell(`clocks of two workers set ${name}`, {
        published: READINGS.length,
        arrived: READINGS.length,
        duplicates: 0,
        'stored when they were set': atStep,
      });
      expect(atStep, 'they were set in mid-stream').to.be.below(READINGS.length);
      expect(seen!.step, 'the processes did see another time').to.be.greaterThan(HOUR_MS / 2);
      expect(held.map((h) => h.lanes).reduce((sum, n) => sum + n, 0)).to.equal(LANES);
      expect(held).to.have.length(2);
      expect(found).to.deep.equal(alone);
    });
  }
});
