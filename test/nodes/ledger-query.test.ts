import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { DuckDBInstance } from '@duckdb/node-api';
import { expect } from 'chai';
import { type Kind, type PhaseloomRecord, type Reading, schemas } from '../../lib/records';
import type { Trouble } from '../../nodes/kit/trouble';
import { columnsOf } from '../../nodes/ledger/columns';
import type { Ledger, LedgerNode } from '../../nodes/ledger/ledger';
import { loadWriter } from '../../nodes/ledger/parquet';
import { nodeRed, type Rig } from '../kit/node-red';
import { admitted, alert, comparison, identification, reading, rejection, rotation } from './ledger-samples';

const here = reading('hollin-bank/F3/S118/2', 0, {
  by: 'crew 4',
  position: { lat: 45.61, lon: -111.08 },
  voltageV: 14390,
  instrument: { id: 'P-07', batteryPct: 82, sequence: 7 },
  note: '=HYPERLINK("http://example.com","5,5")',
});
const bare = reading('hollin-bank/F3/S118/1', 1, { angleDeg: 1.5, note: 'said "no", twice\nand left' });
const beyond = { ...reading('other/1', 2), weather: { sky: 'clear' } } as Reading;
const found = identification(here.terminal, 0, { from: [here.id], site: 'hollin-bank/F3/S118' });
const older = identification(here.terminal, -5);
const turned = rotation(
  'hollin-bank/F3/S118',
  [1, 2, 3].map((n) => `hollin-bank/F3/S118/${n}`),
  3,
  { caution: 'no test for absence of voltage' },
);
const tie = comparison('T7', 4);
const refused = rejection(null, 5);
const raised = alert('tie-mismatch T7', 1, 6);
const closed = alert('old', 1, 7, { state: 'normal', active: false });

describe('the ledger query node', () => {
  let rig: Rig;
  const ledger = (): Promise<Ledger> => (rig.node('ledger') as LedgerNode).ready();

  before(async () => {
    rig = await nodeRed();
    await rig.deploy([{ id: 'ledger', type: 'phaseloom-ledger', file: 'query.sqlite' }]);
    const store = await ledger();
    await store.admit([here, bare, beyond].map(admitted), [refused]);
    for (const finding of [older, found, turned, tie]) await store.keep(finding);
    await store.saveAlert(raised);
    await store.saveAlert(closed);
  });

  async function deployed(settings: object, ...more: { id: string; type: string; wires: string[][] }[]) {
    await rig.deploy([
      { id: 'ledger', type: 'phaseloom-ledger', file: 'query.sqlite' },
      {
        id: 'q',
        type: 'phaseloom-ledger-query',
        ledger: 'ledger',
        queryType: 'msg',
        query: 'payload',
        ...settings,
        wires: [[more[0]?.id ?? 'p']],
      },
      ...more,
      rig.probe('p'),
    ]);
  }
  /** Status follows what happened within a moment. */
  async function shows(status: () => unknown, expected: string): Promise<void> {
    for (let i = 0; i < 200 && status() !== expected; i++) await new Promise((r) => setTimeout(r, 10));
    expect(status()).to.equal(expected);
  }
  async function asked(settings: object, payload: unknown) {
    await deployed(settings);
    rig.send('q', { payload, topic: 'kept', phaseloom: { seq: 9 } });
    return rig.next('p');
  }
  const ids = (records: PhaseloomRecord[]) => records.map((r) => r.id);

  it('gives all records in one message, and leaves the rest of the message alone', async () => {
    const msg = await asked({}, { subject: 'hollin-bank/' });
    expect(msg.payload).to.deep.equal([older, here, found, bare, turned, raised, closed]);
    expect(msg.topic).to.equal('kept');
    expect(msg.phaseloom).to.deep.equal({ seq: 9, count: 7 });
    expect(msg).not.to.have.property('parts');
    await shows(() => rig.status('q')?.text, '7 records');
  });

  it('understands every part of a query', async () => {
    const query = {
      kinds: ['reading', 'identification'],
      by: 'crew 4',
      instrument: 'P-07',
      from: '2026-05-04T10:15:30Z',
      to: Date.parse('2026-05-04T10:15:31Z'),
      order: 'newest-first',
      ids: [here.id, found.id],
      currentOnly: false,
      limit: 1,
    };
    const first = await asked({}, query);
    expect(ids(first.payload)).to.deep.equal([found.id]);
    expect(ids((await asked({}, { ...query, after: first.phaseloom.next })).payload)).to.deep.equal([here.id]);
  });

  it('takes its query from its settings, as JSON or JSONata', async () => {
    const fixed = await asked({ queryType: 'json', query: '{"kinds":["rejection"]}' }, 1700000000000);
    expect(fixed.payload).to.deep.equal([refused]);
    const made = await asked({ queryType: 'jsonata', query: '{"subject": payload.where}' }, { where: 'T7' });
    expect(made.payload).to.deep.equal([tie]);
  });

  it('gives current findings, open alerts, and counts', async () => {
    expect(ids((await asked({ what: 'current-findings' }, {})).payload)).to.deep.equal(ids([found, turned, tie]));
    expect((await asked({ what: 'open-alerts' }, {})).payload).to.deep.equal([raised]);
    for (const order of ['newest-first', 'oldest-first']) {
      const first = await asked(
        { what: 'open-alerts', limit: 1, queryType: 'json', query: JSON.stringify({ order }) },
        {},
      );
      expect(first.payload, order).to.deep.equal([raised]);
    }
    const counts = await asked({ what: 'count' }, {});
    expect(counts.payload).to.deep.equal({
      reading: 3,
      rejection: 1,
      identification: 2,
      rotation: 1,
      comparison: 1,
      alert: 2,
    });
    expect(counts.phaseloom.count).to.equal(10);
    expect((await asked({ what: 'count' }, { subject: here.terminal })).payload).to.deep.equal({
      reading: 1,
      identification: 2,
    });
  });

  it('stops at the most records set, and says where to go on', async () => {
    const first = await asked({ limit: 4 }, {});
    expect(first.payload).to.have.length(4);
    const rest = await asked({}, { after: first.phaseloom.next });
    expect(ids([...first.payload, ...rest.payload])).to.deep.equal(ids((await asked({}, {})).payload));
    expect(rest.phaseloom).not.to.have.property('next');
  });

  for (const [output, pageSize] of [
    ['each', 3],
    ['pages', 3],
    ['pages', 10],
    ['pages', 2],
  ] as const) {
    it(`in ${output} of ${pageSize} is put together again by the join node of Node-RED`, async () => {
      await deployed({ output, pageSize }, { id: 'j', type: 'join', mode: 'auto', wires: [['p']] } as never);
      rig.send('q', { payload: {} });
      expect((await rig.next('p')).payload).to.deep.equal((await (await ledger()).records({})).records);
    });
  }

  it('in pages tells the number of the pages in the last one', async () => {
    await deployed({ output: 'pages', pageSize: 4, limit: 9 });
    rig.send('q', { payload: {} });
    const pages = await rig.until('p', 3);
    expect(pages.map((m) => m.payload.length)).to.deep.equal([4, 4, 1]);
    expect(pages.map((m) => [m.parts.index, m.parts.len, m.parts.count])).to.deep.equal([
      [0, 4, undefined],
      [1, 4, undefined],
      [2, 4, 3],
    ]);
    expect(new Set(pages.map((m) => m.parts.id)).size).to.equal(1);
    expect(pages.map((m) => typeof m.phaseloom.next)).to.deep.equal(['undefined', 'undefined', 'string']);
  });

  it('sends one empty page, and no single record, when there is nothing', async () => {
    const none = { subject: 'nowhere' };
    const page = await asked({ output: 'pages' }, none);
    expect([page.payload, page.parts.count]).to.deep.equal([[], 1]);
    await deployed({ output: 'each' });
    rig.send('q', { payload: none });
    await new Promise((r) => setTimeout(r, 100));
    expect(rig.got('p')).to.deep.equal([]);
    expect(rig.errors).to.deep.equal([]);
  });

  describe('as CSV', () => {
    it('is read back by the CSV node of Node-RED (an independent reader)', async () => {
      const kinds: Kind[] = ['reading', 'identification'];
      await deployed({ output: 'csv' }, {
        id: 'c',
        type: 'csv',
        sep: ',',
        hdrin: true,
        multi: 'mult',
        spec: 'rfc',
        wires: [['p']],
      } as never);
      rig.send('q', { payload: { kinds } });
      const rows = (await rig.next('p')).payload as Record<string, unknown>[];
      const records = (await (await ledger()).records({ kinds })).records;
      expect(rows.map((r) => r.id)).to.deep.equal(ids([...records]));
      const row = rows.find((r) => r.id === here.id)!;
      expect(row).to.deep.include({
        kind: 'reading',
        takenAt: here.takenAt,
        angleDeg: -118.4,
        voltageV: 14390,
        instrument_id: 'P-07',
        instrument_batteryPct: 82,
        position_lat: 45.61,
        position_lon: -111.08,
        note: `'${here.note}`,
      });
      expect(rows.find((r) => r.id === bare.id)).to.deep.include({ angleDeg: 1.5, note: bare.note });
      expect(rows.find((r) => r.id === beyond.id)!.more).to.equal('{"weather":{"sky":"clear"}}');
      expect(JSON.parse(String(rows.find((r) => r.id === found.id)!.from))).to.deep.equal([here.id]);
    });

    it('keeps line ends, quotes and commas as RFC 4180 section 2 has them', async () => {
      const { payload } = await asked({ output: 'csv' }, { ids: [bare.id], kinds: ['reading'] });
      const [head, ...rest] = (payload as string).split('\r\n');
      expect(head).to.match(/^kind,id,terminal,takenAt,angleDeg,/);
      expect(rest.join('\r\n')).to.contain('"said ""no"", twice\nand left"');
      expect(payload).to.match(/\r\n$/);
    });

    it('makes no formula of a text, whatever it begins with (OWASP, CSV Injection), and leaves numbers alone', async () => {
      const texts = ['=1+1', '+1', '-1', '@SUM(A1)', '\t=1', '\r=1', '\n=1'];
      const readings = texts.map((note, n) => reading(`formula/${n}`, n, { note }));
      await (await ledger()).admit(readings.map(admitted), []);
      const { payload } = await asked({ output: 'csv' }, { subject: 'formula/', kinds: ['reading'] });
      for (const text of texts) expect(payload).to.contain(`'${text}`);
      expect(payload).to.match(/,-118\.4,/);
    });

    it('has a head line even when there is nothing', async () => {
      const { payload } = await asked({ output: 'csv' }, { subject: 'nowhere', kinds: ['comparison'] });
      expect(payload).to.match(/^kind,id,at,from,.*,more\r\n$/);
    });
  });

  describe('as GeoJSON (RFC 7946)', () => {
    it('has longitude before latitude, null where no position is known, and that of the reading a finding rests on', async () => {
      const { payload } = await asked({ output: 'geojson' }, { subject: 'hollin-bank/F3/S118/' });
      expect(payload.type).to.equal('FeatureCollection');
      // RFC 7946 section 3.1.1: "The first two elements are longitude and latitude"; section 3.2: geometry null when unlocated.
      const point = { type: 'Point', coordinates: [-111.08, 45.61] };
      const geometries = Object.fromEntries(
        payload.features.map((f: { id: string; geometry: unknown }) => [f.id, f.geometry]),
      );
      expect(geometries).to.deep.equal({ [older.id]: null, [here.id]: point, [found.id]: point, [bare.id]: null });
      const feature = payload.features[1];
      expect(feature).to.deep.include({ type: 'Feature', id: here.id });
      expect(feature.properties).to.deep.include({ kind: 'reading', angleDeg: -118.4, by: 'crew 4' });
      expect(feature.properties).not.to.have.property('position');
    });
  });

  describe('as Parquet', () => {
    let folder: string;
    before(() => {
      folder = mkdtempSync(join(tmpdir(), 'phaseloom-parquet-'));
    });
    after(() => rmSync(folder, { recursive: true, force: true }));

    async function duck(file: string, question: string) {
      const connection = await (await DuckDBInstance.create()).connect();
      const reader = await connection.runAndReadAll(question.replace('FILE', `'${file}'`));
      return reader.getRowObjectsJson();
    }

    it('is read by DuckDB (an independent reader), with its types', async () => {
      const { payload } = await asked({ output: 'parquet' }, { kinds: ['reading', 'identification'] });
      const file = join(folder, 'records.parquet');
      writeFileSync(file, payload as Buffer);
      const types = Object.fromEntries(
        (await duck(file, 'describe select * from FILE')).map((c) => [c.column_name, c.column_type]),
      );
      expect(types).to.deep.include({
        takenAt: 'TIMESTAMP WITH TIME ZONE',
        at: 'TIMESTAMP WITH TIME ZONE',
        angleDeg: 'DOUBLE',
        instrument_sequence: 'BIGINT',
        clock_locked: 'BOOLEAN',
        terminal: 'VARCHAR',
      });
      const [row] = await duck(
        file,
        `select epoch_us("takenAt") as us, "angleDeg", "instrument_sequence", note, "frequencyHz", json_extract_string(reasons, '$') as reasons
         from FILE where id = '${here.id}'`,
      );
      expect(row).to.deep.equal({
        us: String(Date.parse('2026-05-04T10:15:30Z') * 1000),
        angleDeg: -118.4,
        instrument_sequence: '7',
        note: here.note,
        frequencyHz: null,
        reasons: null,
      });
      expect(await duck(file, 'select kind, count(*) as n from FILE group by kind order by kind')).to.deep.equal([
        { kind: 'identification', n: '2' },
        { kind: 'reading', n: String((await (await ledger()).count({})).get('reading')) },
      ]);
    });

    it('holds every kind in one table, and none at all', async () => {
      const file = join(folder, 'all.parquet');
      writeFileSync(file, (await asked({ output: 'parquet' }, {})).payload as Buffer);
      const [all] = await duck(file, 'select count(*) as n, count(distinct kind) as kinds from FILE');
      const stored = [...(await (await ledger()).count({})).values()].reduce((a, b) => a + b, 0);
      expect(all).to.deep.equal({ n: String(stored), kinds: '6' });
      writeFileSync(file, (await asked({ output: 'parquet' }, { subject: 'nowhere' })).payload as Buffer);
      expect(await duck(file, 'select count(*) as n from FILE')).to.deep.equal([{ n: '0' }]);
    });

    it('says what to install when the package is missing', () => {
      const load = () => {
        throw new Error('Cannot find module');
      };
      expect(() => loadWriter(load)).to.throw('run npm install hyparquet-writer in the Node-RED user directory');
    });
  });

  describe('refuses, by one error for each message and nothing sent,', () => {
    for (const [what, settings, payload, told] of [
      ['a query that is no object', {}, 'everything', 'the query is "everything"; right would be an object such as'],
      ['a missing query', {}, undefined, 'the query is missing; right would be an object'],
      ['an unknown word', {}, { subjekt: 's' }, 'query.subjekt is not known; known are kinds, ids, subject'],
      ['an unknown kind', {}, { kinds: ['readings'] }, 'query.kinds is "readings"; right would be reading or'],
      [
        'a time that cannot be',
        {},
        { from: '2026-02-30T00:00:00Z' },
        'query.from is "2026-02-30T00:00:00Z"; right would be an instant',
      ],
      ['a limit that cannot be', {}, { limit: 0 }, 'query.limit is 0; right would be a whole number above 0'],
      ['too much for one message', {}, { limit: 2_000_000 }, 'right would be at most 1000000 in one message, or pages'],
      [
        'a key of its own making',
        {},
        { after: 'x' },
        'query.after is "x"; right would be what the page before gave as next',
      ],
      ['broken JSON', { queryType: 'json', query: '{' }, {}, 'the query (json {) cannot be read'],
      [
        'an expression that fails',
        { queryType: 'jsonata', query: "$error('no such day')" },
        {},
        "(jsonata $error('no such day')) cannot be read: no such day",
      ],
      [
        'an expression that does not end',
        { queryType: 'jsonata', query: '($f := function($n) { 1 + $f($n) }; $f(0))' },
        {},
        'cannot be read: it goes more than 10000 parts deep',
      ],
      ['no ledger', { ledger: '' }, {}, 'no ledger is chosen'],
      ['an unknown output', { output: 'xml' }, {}, 'the output is "xml"; right would be array, each, pages'],
    ] as const) {
      it(what, async () => {
        await deployed(settings);
        rig.send('q', { payload });
        for (let i = 0; i < 1000 && rig.errors.length === 0; i++) await new Promise((r) => setTimeout(r, 10));
        expect(rig.errors).to.have.length(1);
        expect(rig.errors[0]!.message).to.contain(told);
        expect((rig.errors[0] as unknown as Trouble).code).to.match(/^(query-unusable|config)$/);
        expect(rig.got('p')).to.deep.equal([]);
        await shows(() => rig.status('q')?.fill, 'red');
      });
    }

    it('a ledger that cannot be opened', async () => {
      await rig.deploy([
        { id: 'bad', type: 'phaseloom-ledger', file: 'no/such/folder.sqlite' },
        { id: 'q', type: 'phaseloom-ledger-query', ledger: 'bad', wires: [['p']] },
        rig.probe('p'),
      ]);
      rig.send('q', {});
      for (let i = 0; i < 1000 && rig.errors.length === 0; i++) await new Promise((r) => setTimeout(r, 10));
      expect(rig.errors[0]!.code).to.equal('ledger-cannot-open');
    });
  });
});

describe('the columns of a table of records', () => {
  const kinds = Object.keys(schemas) as Kind[];

  it('are all in the help of the ledger query node', () => {
    const help = readFileSync(
      resolve(__dirname, '../../nodes/ledger-query/locales/en-US/phaseloom-ledger-query.html'),
      'utf8',
    );
    const missing = columnsOf(kinds).filter((c) => !new RegExp(`\\b${c.name}\\b`).test(help));
    expect(missing.map((c) => c.name)).to.deep.equal([]);
  });

  it('mean the same in every kind that has them', () => {
    const types = new Map<string, string>();
    for (const { name, type } of kinds.flatMap((kind) => columnsOf([kind]))) {
      expect(types.get(name) ?? type, name).to.equal(type);
      types.set(name, type);
    }
  });
});
