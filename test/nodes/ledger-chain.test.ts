import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { DatabaseSync } from 'node:sqlite';
import { sha256 } from '@noble/hashes/sha2';
import { bytesToHex, utf8ToBytes } from '@noble/hashes/utils';
import { expect } from 'chai';
import pg from 'pg';
import type { Ledger } from '../../nodes/ledger/ledger';
import { PostgresLedger } from '../../nodes/ledger/postgres/postgres-ledger';
import { SqliteLedger } from '../../nodes/ledger/sqlite/sqlite-ledger';
import { ledgerOf, newLedger } from '../kit/ledger-in-flow';
import { nodeRed } from '../kit/node-red';
import { type PostgresServer, startPostgres } from '../kit/postgres';
import { admitted, identification, reading } from './ledger-samples';

const TABLES = ['reading', 'rejection', 'finding', 'alert_transition'];
type Row = Record<string, string | number>;
type Query = (sql: string) => Promise<Row[]>;

const digestOf = (lines: readonly string[]): string =>
  bytesToHex(sha256(utf8ToBytes(lines.map((l) => `${l}\n`).join(''))));

/** The chain as the help describes it, followed by a program of its own: another SHA-256 (@noble/hashes) over what plain SQL gives. */
async function headByHand(query: Query): Promise<{ link: number; digest: string }> {
  const [first, ...links] = await query('select * from chain_link order by link');
  let before = first!;
  for (const link of links) {
    const lines = [`${link.link} ${link.at_us} ${before.digest}`];
    for (const t of TABLES) {
      const to = link[`${t}_to`]!;
      const rows = await query(
        `select seq, id, body from ${t} where seq > ${before[`${t}_to`]} and seq <= ${to} order by seq`,
      );
      lines.push(`${t} to ${to} ${rows.length === 0 ? '-' : digestOf(rows.map((r) => `${r.seq} ${r.id} ${r.body}`))}`);
    }
    expect(digestOf(lines), `link ${link.link}`).to.equal(link.digest);
    before = link;
  }
  return { link: Number(before.link), digest: before.digest as string };
}

interface Bench {
  open(): Promise<Ledger>;
  /** past the ledger, as somebody who has the database; how many rows it touched */
  tamper(sql: string): Promise<number>;
  query: Query;
  destroy(): Promise<void>;
}

function sqliteBench(): Bench {
  const folder = mkdtempSync(join(tmpdir(), 'phaseloom-chain-'));
  const file = join(folder, 'ledger.sqlite');
  const within = async <T>(use: (database: DatabaseSync) => T): Promise<T> => {
    const database = new DatabaseSync(file);
    try {
      return use(database);
    } finally {
      database.close();
    }
  };
  return {
    async open() {
      const ledger = new SqliteLedger({ file });
      await ledger.open();
      return ledger;
    },
    tamper: (sql) => within((database) => Number(database.prepare(sql).run().changes)),
    query: (sql) => within((database) => database.prepare(sql).all() as Row[]),
    destroy: async () => rmSync(folder, { recursive: true, force: true }),
  };
}

let server: PostgresServer | undefined;

async function postgresBench(): Promise<Bench> {
  server ??= await startPostgres();
  const { connection } = server;
  const client = new pg.Client({
    connectionString: connection,
    options: '-c search_path=phaseloom',
    types: { getTypeParser: () => (text: unknown) => text as string },
  });
  await client.connect();
  return {
    async open() {
      const ledger = new PostgresLedger({ connection });
      await ledger.open();
      return ledger;
    },
    tamper: async (sql) => (await client.query(sql)).rowCount ?? 0,
    query: async (sql) => (await client.query(sql)).rows as Row[],
    async destroy() {
      await client.query('drop schema phaseloom cascade');
      await client.end();
    },
  };
}

const BENCHES: readonly (readonly [name: string, make: () => Bench | Promise<Bench>])[] = [
  ['SQLite', sqliteBench],
  ['PostgreSQL', postgresBench],
];

after(() => server?.stop());

for (const [name, make] of BENCHES) {
  describe(`the chain of digests in ${name}`, function () {
    this.timeout(60_000);
    let bench: Bench;
    let ledger: Ledger;
    beforeEach(async () => {
      bench = await make();
      ledger = await bench.open();
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
      await bench.destroy();
    });

    const tamper = async (sql: string) => {
      expect(await bench.tamper(sql), 'something was tampered with').to.be.greaterThan(0);
    };
    const CHANGE = `update reading set body = cast(replace(cast(body as text), '-118.4', '1.6') as ${name === 'SQLite' ? 'text' : 'json'}) where seq = 30`;

    it('has the digests that another program computes from the tables', async () => {
      const found = await ledger.verify();
      expect(found).to.deep.include({ intact: true, records: 105, notCovered: 0, broken: null });
      expect(found.head).to.deep.equal(await headByHand(bench.query));
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
      ['a changed reading', CHANGE],
      ['a finding about another', `update finding set id = 'pi-0' where seq = 2`],
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
        await tamper(sql);
        const { intact, broken } = await ledger.verify();
        expect(intact).to.equal(false);
        expect(broken!.why).to.match(
          /changed, removed or slipped in|slipped in after the last link|link 3 is missing|the link itself was changed/,
        );
      });
    }

    it('names the table and the records among which the changed one is', async () => {
      await tamper(CHANGE);
      const { broken } = await ledger.verify();
      expect(broken!.why).to.contain('a row of reading');
      expect(broken!.records).to.include(reading('x/9', 109).id);
      expect(broken!.records.length).to.be.at.most(20);
    });

    it('shows that the end was cut off only to one who noted the head, and says so', async () => {
      const { head } = await ledger.verify();
      await tamper('delete from finding where seq = 5');
      await tamper(`delete from chain_link where link = ${head.link}`);
      expect(await ledger.verify()).to.include({ intact: true });
      const { intact, broken } = await ledger.verify(head);
      expect(intact).to.equal(false);
      expect(broken).to.include({ link: head.link, why: 'the known link is not in the chain' });
    });

    it('goes on over a restart, and a head noted before is in it', async () => {
      const { head } = await ledger.verify();
      await ledger.close();
      ledger = await bench.open();
      await ledger.keep(identification('x/2', 9));
      const found = await ledger.verify(head);
      expect(found).to.include({ intact: true, records: 106, links: head.link + 1 });
    });

    it('says of what is older than the chain how much it does not cover', async () => {
      await tamper('delete from chain_link where link > 0');
      await tamper('update chain_link set reading_to = 100, finding_to = 5');
      await ledger.keep(identification('x/2', 9));
      expect(await ledger.verify()).to.deep.include({ intact: true, records: 1, notCovered: 105 });
    });

    it('is followed while others write (20 batches during one verification)', async () => {
      const writes = Promise.all(Array.from({ length: 20 }, (_, n) => ledger.admit([admitted(reading('y/1', n))], [])));
      expect(await ledger.verify()).to.include({ intact: true });
      await writes;
      expect(await ledger.verify()).to.include({ intact: true, records: 125 });
    });
  });
}

describe('the chain of digests', () => {
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
