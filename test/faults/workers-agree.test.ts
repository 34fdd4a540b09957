import { expect } from 'chai';
import { carried, count, type Outcome } from '../kit/crew-outcome';
import { type PostgresServer, startPostgres } from '../kit/postgres';
import { type Crew, crew, story } from '../kit/workers';
import { scaled, tell, until } from './scale';

const ROUNDS = scaled(5, 45);
const READINGS = story(ROUNDS);
describe('findings and alerts, whichever worker got which reading', function () {
  this.timeout(400_000);
  let server: PostgresServer;
  const crews: Crew[] = [];
  let alone: Outcome;
  before(async () => {
    server = await startPostgres();
    const one = await crew(server.connection, 'one', 1);
    crews.push(one);
    alone = await carried(one, READINGS);
    await one.stop();
  });
  after(async () => {
    await Promise.all(crews.slice(1).map((c) => c.stop()));
    await server?.stop();
  });

  /** Every transition the desk told of was handed on, each under its own key. */
  async function handedOn(one: Crew): Promise<{ keys: number; times: number }> {
    const told = await one.sql<{ key: string }>(
      "select key from phaseloom.delivery where destination like 'alert-desk:%' order by key",
    );
    const keys = one.outside.processed.map((p) => p.key);
    expect([...new Set(keys)].sort(), 'transitions handed on').to.deep.equal(told.map((t) => t.key));
    return { keys: new Set(keys).size, times: keys.length };
  }

  it('one worker finds what is planted in the readings', () => {
    expect(new Set(alone.says.map((s) => s.kind))).to.include.all.keys('identification', 'rotation', 'comparison');
    const keys = alone.alerts.map((a) => a.key);
    expect(keys).to.include.members([
      'record-conflict:675/1',
      'rotation-conflict:680/1+2+3',
      'tie-mismatch:TIE',
      'instrument-doubt:P-09',
    ]);
  });

  it('two workers, between whom the broker divides the readings, find and tell the same', async () => {
    const two = await crew(server.connection, 'two', 2);
    crews.push(two);
    expect(await carried(two, READINGS)).to.deep.equal(alone);
    const { keys, times } = await handedOn(two);
    tell('two workers', { published: READINGS.length, arrived: READINGS.length, duplicates: 0, keys, times });
    expect(times, 'each key once').to.equal(keys);
  });

  it('and also when one of them is killed in mid-stream and stays away', async () => {
    const pair = await crew(server.connection, 'killed', 2);
    crews.push(pair);
    const kill = async () => {
      await until(async () => (await count(pair, 'phaseloom.reading')) > READINGS.length / 3, 60_000);
      await pair.workers[1]!.kill();
    };
    expect(await carried(pair, READINGS, kill())).to.deep.equal(alone);
    const { keys, times } = await handedOn(pair);
    tell('one killed', { published: READINGS.length, arrived: READINGS.length, duplicates: 0, keys, times });
    // What was on its way at the kill may be handed on again under the same key: 16 at a time.
    expect(times - keys).to.be.within(0, 16);
  });
});
