import { expect } from 'chai';
import { PostgresLedger } from '../../nodes/ledger/postgres/postgres-ledger';
import { type CuttingProxy, cuttingProxy } from '../kit/cutting-proxy';
import { type PostgresServer, startPostgres } from '../kit/postgres';
import { admitted, alert, identification, reading, rejection } from './ledger-samples';

/** The outside: a real server, asked in SQL what it holds, behind a connection that breaks at the commit. */
describe('a connection lost during a commit', function () {
  this.timeout(60_000);
  let server: PostgresServer;
  let proxy: CuttingProxy;
  let ledger: PostgresLedger;
  before(async () => {
    server = await startPostgres();
    proxy = await cuttingProxy(server.port);
  });
  beforeEach(async () => {
    ledger = new PostgresLedger({ connection: `postgresql://tester@127.0.0.1:${proxy.port}/postgres` });
    await ledger.open();
  });
  afterEach(async () => {
    await ledger.close();
    await server.sql('drop schema phaseloom cascade');
  });
  after(async () => {
    await proxy.close();
    await server.stop();
  });

  for (const moment of ['before-the-server-hears', 'before-the-answer-comes'] as const) {
    it(`${moment}: everything is stored once and answered as it came about`, async () => {
      const before = proxy.cuts;
      proxy.cutAt(moment);
      const [kept, batch, raised] = await Promise.all([
        ledger.keep(identification('s/1', 0)),
        ledger.admit([admitted(reading('s/1', 0)), admitted(reading('s/1', 0))], [rejection(null, 0)]),
        ledger.saveAlert(alert('k', 1, 0)),
      ]);
      expect(proxy.cuts).to.equal(before + 1);
      expect(kept).to.deep.equal({ isNew: true });
      expect(batch.readings.map((r) => r.isNew)).to.deep.equal([true, false]);
      expect(raised).to.equal(true);
      const counts = await server.sql(`select (select count(*)::int from phaseloom.finding) as findings,
        (select count(*)::int from phaseloom.reading) as readings, (select count(*)::int from phaseloom.alert_transition) as transitions,
        (select amount::int from phaseloom.tally where name = 'finding') as tally`);
      expect(counts).to.deep.equal([{ findings: 1, readings: 1, transitions: 1, tally: 1 }]);
    });
  }

  it('tells listeners once, and what was stored before is still not new', async () => {
    const heard: string[] = [];
    ledger.onCommit((records) => heard.push(...records.map((r) => r.id)));
    const finding = identification('s/1', 0);
    proxy.cutAt('before-the-answer-comes');
    expect(await ledger.keep(finding)).to.deep.equal({ isNew: true });
    proxy.cutAt('before-the-answer-comes');
    expect(await ledger.keep(finding)).to.deep.equal({ isNew: false });
    expect(heard).to.deep.equal([finding.id]);
    expect(await ledger.health()).to.include({ ok: true, findings: 1, pending: 0 });
  });
});
