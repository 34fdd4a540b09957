import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { DuckDBInstance } from '@duckdb/node-api';
import { expect } from 'chai';
import { conditionsOf, decideCorrection, problemsOf } from '../../lib';
import { makeFeeder } from '../../lib/feeder/model';
import { unfedText } from '../../lib/feeder/unfed';
import type { Correction, Trace } from '../../lib/records';
import { angle, identificationAt, trunk } from '../kit/feeder-trunk';
import { admitted, kept, ledgerOf, newLedger } from '../kit/ledger-in-flow';
import { type FlowNode, nodeRed, type Rig } from '../kit/node-red';
import { chance } from '../outside/rates/chance';

const csvRows = (text: string) =>
  text
    .trim()
    .split('\r\n')
    .map((line) => line.split(','));
const at = (minute: number) => `2026-05-04T10:${String(minute).padStart(2, '0')}:00.000000Z`;
const site = (k: number, phases: string, minute = 0, prefix = '') =>
  [...phases].map((really, i) => identificationAt(`${prefix}t${k}${'ABC'[i]}`, angle(really), at(minute)));
const CROSSED = [...site(3, 'ABC'), ...site(6, 'ABC'), ...site(9, 'BAC'), ...site(12, 'BAC')];

/** A table as DuckDB writes it to Parquet: compressed, with instants as timestamps and figures as doubles. */
async function parquetOf(csv: string): Promise<Buffer> {
  const folder = mkdtempSync(join(tmpdir(), 'phaseloom-parquet-'));
  const [from, to] = [join(folder, 'table.csv'), join(folder, 'table.parquet')];
  writeFileSync(from, csv);
  const duck = await (await DuckDBInstance.create()).connect();
  await duck.run(`copy (select * from read_csv('${from}')) to '${to}' (format parquet)`);
  duck.closeSync();
  const bytes = readFileSync(to);
  rmSync(folder, { recursive: true });
  return bytes;
}

describe('the node feeder trace', () => {
  let rig: Rig;
  before(async () => {
    rig = await nodeRed();
  });
  const network = { id: 'net', terminals: [{ id: 't3A' }], feeders: [trunk()] };
  const flow = (over: object = {}, ledger?: FlowNode, document: object = network) => [
    { id: 'frame', type: 'phaseloom-frame', frameId: 'f' },
    { id: 'network', type: 'phaseloom-network', source: 'inline', document: JSON.stringify(document) },
    ...(ledger ? [ledger] : []),
    {
      id: 'n',
      type: 'phaseloom-feeder-trace',
      frame: 'frame',
      network: 'network',
      gatherS: 0.05,
      ...(ledger ? { ledger: 'ledger' } : {}),
      ...over,
      wires: [['p'], ['q'], ['r']],
    },
    rig.probe('p'),
    rig.probe('q'),
    rig.probe('r'),
  ];
  const quiet = (ms = 200) => new Promise((r) => setTimeout(r, ms));

  it('gathers findings and says once what they tell of the whole feeder', async () => {
    await rig.deploy(flow());
    for (const payload of CROSSED) rig.send('n', { payload });
    const trace: Trace = (await rig.next('p')).payload;
    expect(problemsOf('trace', trace)).to.deep.equal([]);
    expect(trace.frame?.id).to.equal('f');
    expect(trace.corrections.map((c) => c.cause.section)).to.deep.equal(['m7']);
    expect(trace.from).to.have.length(12);
    await quiet(700);
    expect(rig.got('p')).to.have.length(1);
    expect(rig.status('n')?.text).to.match(/^\d+ off, 0 clash$/);
    rig.send('n', { payload: CROSSED });
    await quiet();
    expect(rig.got('p'), 'nothing new').to.have.length(1);
    rig.send('n', { payload: site(9, 'ABC', 9) });
    expect((await rig.next('p')).payload.id).not.to.equal(trace.id);
  });

  it('traces only the feeder that a finding concerns', async () => {
    const other = trunk('G');
    const renamed = { ...other, terminals: other.terminals!.map((t) => ({ ...t, id: `g-${t.id}` })) };
    await rig.deploy(flow({}, undefined, { ...network, feeders: [trunk(), renamed] }));
    rig.send('n', { payload: site(9, 'BAC', 0, 'g-') });
    expect((await rig.next('p')).payload.feeder).to.equal('G');
    await quiet();
    expect(rig.got('p')).to.have.length(1);
  });

  it('keeps traces: the newest holds, all stay; and begins after a restart with what holds', async () => {
    const ledger = newLedger();
    await rig.deploy(flow({}, ledger));
    const store = await ledgerOf(rig);
    await Promise.all(CROSSED.map((i) => store.keep(i)));
    for (const payload of CROSSED) rig.send('n', { payload });
    const first = (await rig.next('p')).payload as Trace;
    await Promise.all(site(9, 'ABC', 9).map((i) => store.keep(i)));
    rig.send('n', { payload: site(9, 'ABC', 9) });
    const second = (await rig.next('p')).payload as Trace;
    expect((await kept<Trace>(rig, 'trace')).map((t) => t.id)).to.deep.equal([first.id, second.id]);
    expect((await kept<Trace>(rig, 'trace', true)).map((t) => t.id)).to.deep.equal([second.id]);
    const { records } = await store.records({ subject: 'F', kinds: ['trace'] });
    expect(records).to.have.length(2);
    await rig.deploy(flow({}, ledger));
    expect(((await rig.next('p')).payload as Trace).id).to.equal(second.id);
  });

  it('keeps what a person decides, and tells it with the label', async () => {
    const ledger = newLedger();
    await rig.deploy(flow({}, ledger));
    rig.send('n', { payload: CROSSED });
    const before = (await rig.next('p')).payload as Trace;
    const act = (more: object) =>
      rig.send('n', { payload: { action: 'accept-correction', section: 'm9', by: 'planner', ...more } });
    act({ comment: 'seen on the pole' });
    const made = (await rig.next('q')).payload as Correction;
    expect(problemsOf('correction', made)).to.deep.equal([]);
    expect(made).to.deep.include({ decision: 'accepted', section: 'm9', phases: ['B', 'A', 'C'] });
    expect(made.from[0]).to.equal(before.id);
    const after = (await rig.next('p')).payload as Trace;
    expect(after.corrections.flatMap((c) => c.labels).map((l) => l.section)).not.to.include('m9');
    expect(after.accepted!.map((l) => l.section)).to.deep.equal(['m9']);
    act({ section: 'm10' });
    await rig.next('q');
    expect((await kept<Correction>(rig, 'correction', true)).map((c) => c.section)).to.deep.equal(['m9', 'm10']);
    act({ section: 'm1' });
    act({ by: ' ' });
    act({ feeder: 'H' });
    rig.send('n', { payload: { action: 'energize' } });
    act({ action: 'constructor', section: 'm11' });
    await quiet();
    expect(rig.errors.map((e) => e.code)).to.have.members([
      'correction-unknown',
      'by-invalid',
      'feeder-unknown',
      'action-unknown',
      'action-unknown',
    ]);
  });

  it('hears of a decision that was committed elsewhere, and traces with it after a restart', async () => {
    const ledger = newLedger();
    await rig.deploy(flow({}, ledger));
    const store = await ledgerOf(rig);
    await Promise.all(CROSSED.map((i) => store.keep(i)));
    rig.send('n', { payload: CROSSED });
    const before = (await rig.next('p')).payload as Trace;
    const made = decideCorrection(before, { section: 'm9', decision: 'accepted', by: 'on the board' }, at(20));
    await store.keep(made as Correction);
    const after = (await rig.next('p')).payload as Trace;
    expect(after.accepted!.map((d) => [d.section, d.by])).to.deep.equal([['m9', 'on the board']]);
    await rig.deploy(flow({}, ledger));
    expect(((await rig.next('p')).payload as Trace).id).to.equal(after.id);
  });

  it('finds a loop that its readings contradict; the alert rule says so, and takes it back', async () => {
    const looped = {
      ...trunk(),
      sections: trunk().sections.map((s) => ({ ...s, kind: 'span' as const })),
      switches: [{ id: 'k', from: 'n3', to: 'n12', phases: ['A', 'B', 'C'], closed: true }],
    };
    await rig.deploy(flow({}, undefined, { ...network, feeders: [looped] }));
    rig.send('n', { payload: [...CROSSED, ...site(10, 'BAC')] });
    const [active] = conditionsOf((await rig.next('p')).payload);
    expect(active).to.include({ category: 'network-conflict', subject: 'F', active: true });
    rig.send('n', { payload: [9, 10, 12].flatMap((k) => site(k, 'ABC', 9)) });
    const [gone] = conditionsOf((await rig.next('p')).payload);
    expect(gone).to.include({ key: active!.key, active: false });
  });

  it('takes a feeder from a CSV or JSON file', async () => {
    const rows = trunk().sections.map((s) => `${s.id},${s.from},${s.to},ABC`);
    const terminals = trunk().terminals!.map((t) => `${t.id},${t.section},${t.phase}`);
    const csv = ['id,from,to,phases', ...rows, '', 'id,section,phase', ...terminals].join('\n');
    writeFileSync(join(rig.userDir, 'feeder-F.csv'), csv);
    writeFileSync(join(rig.userDir, 'feeder.json'), JSON.stringify(trunk()));
    for (const [file, id] of [
      ['feeder-F.csv', 'feeder-F'],
      ['feeder.json', 'F'],
    ]) {
      await rig.deploy(flow({ network: '', feederFrom: 'file', file }));
      rig.send('n', { payload: CROSSED });
      expect((await rig.next('p')).payload.feeder).to.equal(id);
    }
  });

  it('takes the labels of a table from the frame, and no feeder whose phases crest in another order', async () => {
    writeFileSync(join(rig.userDir, 'L.csv'), 'id,from,to,phases\na,n0,n1,L1 L2 L3');
    const of = (frame: object, file: string) => {
      const [, ...others] = flow({ network: '', feederFrom: 'file', file });
      return rig.deploy([{ id: 'frame', type: 'phaseloom-frame', frameId: 'f', ...frame }, ...others]);
    };
    await of({ phase1: 'L1', phase2: 'L2', phase3: 'L3' }, 'L.csv');
    expect([rig.errors, rig.status('n')?.text]).to.deep.equal([[], 'no findings yet']);
    writeFileSync(join(rig.userDir, 'feeder.json'), JSON.stringify(trunk()));
    await of({ sequence: '132' }, 'feeder.json');
    rig.send('n', { payload: CROSSED });
    await quiet(50);
    expect(rig.errors[0]?.message).to.equal("feeder F has the phases A, B, C; expected the frame's A, C, B");
    await of({ phase1: 'B', phase2: 'C', phase3: 'A' }, 'feeder.json');
    expect([rig.errors, rig.status('n')?.text]).to.deep.equal([[], 'no findings yet']);
  });

  it('tells what nothing feeds, and which readings are lost with it', () => {
    const [head, ...rest] = trunk().sections;
    const feeder = makeFeeder({ ...trunk(), sections: [head!, { ...rest[0]!, from: 'n11' }, ...rest.slice(1)] });
    expect(unfedText(feeder)).to.match(
      /^feeder F: nothing feeds m2, m3, m4, m5, m6, \.\. \(11\); readings at t3A, .* \(\d+\) count for nothing; expected from and to that lead to n0/,
    );
  });

  it('takes voltages of meters as evidence beside the findings, and says which of them say nothing', async () => {
    await rig.deploy(flow());
    const dice = chance(95);
    const wander = () => Array.from({ length: 400 }, () => 240 + dice.normal());
    const phases = { A: wander(), B: wander(), C: wander() };
    const near = (series: number[]) => series.map((v) => v + 0.3 * dice.normal());
    const crossed = { A: phases.B, B: phases.A, C: phases.C };
    const below = [9, 10, 12].flatMap((k) => (['A', 'B', 'C'] as const).map((p) => [`t${k}${p}`, near(crossed[p])]));
    const batch = { id: 'meters-may', until: at(30), phases, meters: { ...Object.fromEntries(below), x: phases.A } };
    rig.send('n', { payload: [...site(3, 'ABC'), ...site(6, 'ABC')] });
    rig.send('n', { payload: batch });
    const trace: Trace = (await rig.next('p')).payload;
    expect(problemsOf('trace', trace)).to.deep.equal([]);
    expect(trace.at).to.equal(at(30));
    expect(trace.from).to.include('meters-may');
    expect(trace.corrections[0]!.cause.change).to.match(/^A and B swapped/);
    rig.send('n', { payload: { ...batch, phases: { A: phases.A, B: phases.B } } });
    rig.send('n', { payload: { ...batch, meters: { t9A: [1, 2] } } });
    await quiet(50);
    expect(rig.errors.map((e) => e.code)).to.deep.equal(['batch-in-part', 'meters-invalid', 'meters-invalid']);
    expect(rig.errors.map((e) => e.message).join()).to.contain('x: it is at no terminal of the feeder');
  });

  it('takes voltages of meters from a table and from the ledger, and says what is wrong with either', async () => {
    await rig.deploy(flow({}, newLedger()));
    const dice = chance(96);
    const phases = [0, 1, 2].map(() => Array.from({ length: 200 }, () => 240 + dice.normal()));
    const near = (k: number) => phases[k]!.map((v) => v + 0.2 * dice.normal());
    const terminals = [9, 10, 12].flatMap((k) =>
      ['A', 'B', 'C'].map((p, j) => [`t${k}${p}`, near([1, 0, 2][j]!)] as const),
    );
    const instant = (i: number) => new Date(Date.parse('2026-05-01T00:00:00Z') + 900_000 * i).toISOString();
    const head = ['time', 'A', 'B', 'C', ...terminals.map(([t]) => t)].join(',');
    const rows = phases[0]!.map((_, i) =>
      [instant(i), ...phases.map((s) => s[i]), ...terminals.map(([, s]) => s[i])].join(','),
    );
    rig.send('n', { payload: [...site(3, 'ABC'), ...site(6, 'ABC')] });
    rig.send('n', { payload: { id: 'table', meters: [head, ...rows].join('\n') } });
    const first: Trace = (await rig.next('p')).payload;
    expect(first.from).to.include('table');
    expect(first.corrections[0]!.cause.change).to.match(/^A and B swapped/);

    rig.send('n', { payload: { id: 'parquet', meters: await parquetOf([head, ...rows].join('\n')) } });
    const same: Trace = (await rig.next('p')).payload;
    expect(same.from).to.include('parquet').and.not.to.include('table');
    expect(same.corrections).to.deep.equal(first.corrections.map((c) => ({ ...c, from: same.corrections[0]!.from })));

    const series = [...phases.map((s, j) => [`head/${'ABC'[j]}`, s] as const), ...terminals];
    const readings = series.flatMap(([terminal, s]) =>
      s.map((voltageV, i) => ({
        kind: 'reading' as const,
        id: `${terminal} ${i}`,
        terminal,
        takenAt: instant(i),
        voltageV,
      })),
    );
    await admitted(rig, ...readings);
    const ask = { action: 'meters-from-ledger', phases: { A: 'head/A', B: 'head/B', C: 'head/C' }, stepS: 900 };
    rig.send('n', { payload: { ...ask, id: 'stored', from: instant(0), until: instant(200) } });
    const second: Trace = (await rig.next('p')).payload;
    expect(second.from).to.include('stored').and.not.to.include('parquet');
    expect(second.corrections).to.deep.equal(
      first.corrections.map((c) => ({ ...c, from: second.corrections[0]!.from })),
    );
    rig.send('n', { payload: { meters: 'time,A\nnoon,1' } });
    rig.send('n', { payload: { meters: await parquetOf('time,A\n2026-05-01T00:00:00Z,1') } });
    rig.send('n', { payload: { meters: Buffer.from('time,A') } });
    rig.send('n', { payload: { ...ask, from: 'then', until: instant(200) } });
    rig.send('n', { payload: { ...ask, from: instant(1), until: instant(0) } });
    await quiet(200);
    const told = rig.errors.map((e) => e.message);
    expect(told).to.have.length(5);
    expect(
      told.filter((m) => /meters: there is no column B, C/.test(m)),
      'as CSV and as Parquet',
    ).to.have.length(2);
    for (const what of [
      /the bytes are not a Parquet file that can be read \(.+\); expected Parquet, or CSV as text/,
      /from is "then"; expected RFC 3339/,
      /expected from before until/,
    ])
      expect(
        told.filter((m) => what.test(m)),
        String(what),
      ).to.have.length(1);
  });

  it('gives the corrections as a table, all or those accepted, and the feeder as a map', async () => {
    await rig.deploy(flow());
    const ask = (format: string, more = {}) => rig.send('n', { payload: { action: 'download', format, ...more } });
    ask('csv');
    await quiet(50);
    expect(rig.errors.map((e) => e.code)).to.deep.equal(['no-evidence']);
    rig.send('n', { payload: CROSSED });
    await rig.next('p');
    rig.send('n', { payload: { action: 'accept-correction', section: 'm9', by: 'planner' } });
    await rig.next('q');
    const sections = (text: string) =>
      csvRows(text)
        .slice(1, -1)
        .map((row) => row[0]);
    ask('csv');
    const table = await rig.next('r');
    expect(table.contentType).to.equal('text/csv');
    expect(sections(table.payload)).to.include.members(['m8', 'm10', 'm12']).and.not.to.include('m9');
    ask('csv', { acceptedOnly: true });
    const own = await rig.next('r');
    expect(sections(own.payload)).to.deep.equal(['m9']);
    expect(own.contradicted).to.deep.equal([]);
    ask('geojson');
    const map = JSON.parse((await rig.next('r')).payload);
    // Twelve sections, then the terminals.
    expect(map.features).to.have.length(12 + 15);
    expect(map.features[8].properties).to.deep.include({ id: 'm9', phases: ['B', 'A', 'C'] });
    // Read as the document has it: what was accepted is contradicted.
    const back = [9, 12].flatMap((k) => [...'ABC'].map((p) => identificationAt(`t${k}${p}`, angle(p), at(40))));
    rig.send('n', { payload: back });
    await rig.next('p');
    ask('csv', { acceptedOnly: true });
    const left = await rig.next('r');
    expect(sections(left.payload)).to.deep.equal([]);
    expect(left.contradicted).to.deep.equal(['m9']);
    ask('cim');
    ask('dwg');
    await quiet(50);
    expect(rig.errors.slice(1).map((e) => e.code)).to.deep.equal(['format-unknown', 'format-unknown']);
  });

  it('says what it lacks', async () => {
    const troubled = async (over: object) => {
      await rig.deploy(flow(over));
      rig.send('n', { payload: CROSSED });
      await quiet(50);
      return rig.errors[0]?.message;
    };
    expect(await troubled({ network: '' })).to.match(/the network has no feeders \(known: none\)/);
    expect(await troubled({ feeder: 'H' })).to.match(/no feeder H \(known: F\)/);
    expect(await troubled({ feederFrom: 'file', file: 'x.dwg' })).to.match(/ends in none of .json, .csv/);
    expect(await troubled({ feederFrom: 'file', file: 'gone.csv' })).to.match(/cannot be read/);
    writeFileSync(join(rig.userDir, 'bad.csv'), 'id,from,to,phases\na,n0,n1,AX');
    expect(await troubled({ feederFrom: 'file', file: 'bad.csv' })).to.match(/sections row 2 \(a\): phases/);
    writeFileSync(join(rig.userDir, 'bad.xml'), '<html/>');
    expect(await troubled({ feederFrom: 'file', file: 'bad.xml' })).to.match(/not a CIM model/);
    expect(rig.status('n')?.text).to.equal('check the settings');
    await rig.deploy(flow());
    rig.send('n', { payload: { kind: 'reading' } });
    rig.send('n', { payload: [...CROSSED, { kind: 'rotation' }] });
    await rig.next('p');
    expect(rig.errors.map((e) => e.code)).to.deep.equal(['kind-unexpected', 'batch-in-part']);
  });
});
