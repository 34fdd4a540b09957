import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { DatabaseSync } from 'node:sqlite';
import { sha256 } from '@noble/hashes/sha2';
import { bytesToHex, utf8ToBytes } from '@noble/hashes/utils';
import { expect } from 'chai';
import { SqliteLedger } from '../../nodes/ledger/sqlite/sqlite-ledger';
import { ledgerOf, newLedger } from '../kit/ledger-in-flow';
import { nodeRed } from '../kit/node-red';
import { admitted, identification, reading } from './ledger-samples';

const TABLES = ['reading', 'rejection', 'finding', 'alert_transition'];
type Row = Record<string, string | number>;

/** The chain as the help describes it, followed by a program of its own: another SHA-256 (@noble/hashes) over what plain SQL gives. */
function headByHand(file: string): { link: number; digest: string } {
  const database = new DatabaseSync(file, { readOnly: true });
  const [first, ...links] = database.prepare('select * from chain_link order by link').all() as Row[];
  let before = first!;
  for (const link of links) {
    const lines = [`${link.link} ${link.at_us} ${before.digest}`];
    for (const t of TABLES) {
      const from = before[`${t}_to`]!;
      const to = link[`${t}_to`]!;
      const rows = database
        .prepare(`select seq, id, body from ${t} where seq > ? and seq <= ? order by seq`)
        .all(from, to) as Row[];
      lines.push(...rows.map((r) => `${t} ${r.seq} ${r.id} ${r.body}`), `${t} to ${to}`);
    }
    const digest = bytesToHex(sha256(utf8ToBytes(lines.map((l) => `${l}\n`).join(''))));
    expect(digest, `link ${link.link}`).to.equal(link.digest);
    before = link;
  }
  database.close();
  return { link: before.link as number, digest: before.digest as string };
}

describe('the chain of a SQLite ledger', () => {
  let folder: string;
  let file: string;
  let ledger: SqliteLedger;
  beforeEach(async () => {
    folder = mkdtempSync(join(tmpdir(), 'phaseloom-chain-'));
    file = join(folder, 'ledger.sqlite');
    ledger = new SqliteLedger({ file });
    await ledger.open();
    for (let batch = 0; batch < 5; batch++) {
      await ledger.admit(
        Array.from({ length: 20 }, (_, i) => admitted(reading(`x/${i}`, 100 * batch + i))),
        [],
      );
      await ledger.keep(identification('x/1', batch));
    }
  });
  afterEach(async () => {
    await ledger.close();
    rmSync(folder, { recursive: true, force: true });
  });

  const tamper = (sql: string) => {
    const database = new DatabaseSync(file);
    const { changes } = database.prepare(sql).run();
    database.close();
    expect(changes, 'something was tampered with').to.be.greaterThan(0);
  };

  it('has the digests that another program computes from the tables', async () => {
    const found = await ledger.verify();
    expect(found).to.deep.include({ intact: true, records: 105, notCovered: 0, broken: null });
    expect(found.head).to.deep.equal(headByHand(file));
  });

  it('gets no link from what stores no record, nor from what is rolled back', async () => {
    const before = (await ledger.verify()).links;
    await ledger.advance('x', 5);
    await ledger.admit([admitted(reading('x/1', 1))], []);
    const again = { ...identification('x/1', 9), at: 'no instant' };
    await ledger.keep(again).then(
      () => expect.fail('stored'),
      () => undefined,
    );
    expect(await ledger.verify()).to.deep.include({ intact: true, links: before });
  });

  for (const [what, sql] of [
    ['a changed reading', `update reading set body = replace(body, '-118.4', '1.6') where seq = 30`],
    ['a changed finding', `update finding set body = replace(body, '"B"', '"C"') where seq = 2`],
    ['a removed reading', 'delete from reading where seq = 41'],
    ['a removed last reading', 'delete from reading where seq = 100'],
    [
      'a reading slipped in after the last link',
      "insert into reading (id, terminal, taken_at_us, received_at_us, source, door, body) values ('r', 'x', 0, 0, '', '', '{}')",
    ],
    ['a changed link', 'update chain_link set at_us = at_us + 1 where link = 3'],
    ['a removed link', 'delete from chain_link where link = 3'],
  ] as const) {
    it(`shows ${what}`, async () => {
      tamper(sql);
      const { intact, broken } = await ledger.verify();
      expect(intact).to.equal(false);
      expect(broken!.why).to.match(/changed, removed or slipped in|slipped in after the last link|link 3 is missing/);
    });
  }

  it('names the records among which the changed one is', async () => {
    tamper(`update reading set body = replace(body, '-118.4', '1.6') where seq = 30`);
    const { broken } = await ledger.verify();
    expect(broken!.records).to.include(reading('x/9', 109).id);
    expect(broken!.records.length).to.be.at.most(21);
  });

  it('shows that the end was cut off only to one who noted the head, and says so', async () => {
    const { head } = await ledger.verify();
    tamper('delete from finding where seq = 5');
    tamper(`delete from chain_link where link = ${head.link}`);
    expect(await ledger.verify()).to.include({ intact: true });
    const { intact, broken } = await ledger.verify(head);
    expect(intact).to.equal(false);
    expect(broken).to.include({ link: head.link, why: 'the known link is not in the chain' });
  });

  it('goes on over a restart, and a head noted before is in it', async () => {
    const { head } = await ledger.verify();
    await ledger.close();
    ledger = new SqliteLedger({ file });
    await ledger.open();
    await ledger.keep(identification('x/2', 9));
    const found = await ledger.verify(head);
    expect(found).to.include({ intact: true, records: 106, links: head.link + 1 });
  });

  it('says of a ledger from before the chain how much it does not cover', async () => {
    await ledger.close();
    const database = new DatabaseSync(file);
    database.exec("drop table chain_link; delete from kysely_migration where name = '0002-chain'");
    database.close();
    ledger = new SqliteLedger({ file });
    await ledger.open();
    await ledger.keep(identification('x/2', 9));
    expect(await ledger.verify()).to.deep.include({ intact: true, records: 1, notCovered: 105 });
  });

  it('is followed by the node ledger query', async () => {
    const rig = await nodeRed();
    await rig.deploy([
      newLedger(),
      {
        id: 'q',
        type: 'phaseloom-ledger-query',
        ledger: 'ledger',
        what: 'verify',
        query: 'payload',
        queryType: 'msg',
        wires: [['p']],
      },
      rig.probe('p'),
    ]);
    await (await ledgerOf(rig)).keep(identification('x/2', 9));
    rig.send('q', { payload: {} });
    const { payload } = await rig.next('p');
    expect(payload).to.deep.include({ intact: true, links: 1, records: 1, broken: null });
    rig.send('q', { payload: payload.head });
    expect((await rig.next('p')).payload.intact).to.equal(true);
    rig.send('q', { payload: { ...payload.head, digest: '00' } });
    expect((await rig.next('p')).payload.broken.why).to.equal('the known link is not in the chain');
    rig.send('q', { payload: { link: 'last' } });
    while (rig.errors.length === 0) await new Promise((r) => setTimeout(r, 20));
    expect(rig.errors[0]!.message).to.equal('query.link is "last"; right would be a whole number above 0');
  });
});
