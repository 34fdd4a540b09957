import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from 'chai';
import pg from 'pg';
import { News } from '../../nodes/ledger/postgres/news';
import { PostgresLedger } from '../../nodes/ledger/postgres/postgres-ledger';
import { type PostgresServer, startPostgres } from '../kit/postgres';
import { type SlowLine, slowLine } from '../kit/slow-line';

/** Each piece of data comes so late: opening takes longer than two rounds of looking. */
const LATE_MS = 1500;

describe('the connection on which a ledger hears of others', function () {
  this.timeout(60_000);
  let server: PostgresServer;
  let line: SlowLine;
  let pool: pg.Pool;
  before(async () => {
    server = await startPostgres();
    const ledger = new PostgresLedger({ connection: server.connection });
    await ledger.open();
    await ledger.close();
    pool = new pg.Pool({ connectionString: server.connection, options: '-c search_path=phaseloom', max: 1 });
    line = await slowLine(server.port);
  });
  after(async () => {
    await line.close();
    await pool.end();
    await server.stop();
  });

  const opened = async () => {
    const connectionString = server.connection.replace(/:\d+\//, `:${line.port}/`);
    const news = new News({
      pool,
      schema: 'phaseloom',
      connect: () => new pg.Client({ connectionString, application_name: 'hears', connectionTimeoutMillis: 20_000 }),
      told: () => undefined,
      readings: () => undefined,
    });
    line.delayMs = 0;
    await news.open();
    return news;
  };
  const heard = async () => {
    const rows = await server.sql("select count(*)::int as n from pg_stat_activity where application_name = 'hears'");
    return (rows[0] as { n: number }).n;
  };
  const cut = () =>
    server.sql("select pg_terminate_backend(pid) from pg_stat_activity where application_name = 'hears'");

  it('is one, also when opening it again takes longer than the next look', async () => {
    const news = await opened();
    expect(await heard()).to.equal(1);
    await cut();
    line.delayMs = LATE_MS;
    await sleep(12_000);
    expect(await heard()).to.equal(1);
    await news.close();
    await sleep(2 * LATE_MS);
    expect(await heard()).to.equal(0);
  });

  it('is ended when the ledger closes while it is being opened', async () => {
    const news = await opened();
    await cut();
    line.delayMs = LATE_MS;
    await sleep(3000);
    await news.close();
    await sleep(4 * LATE_MS);
    expect(await heard()).to.equal(0);
  });
});
