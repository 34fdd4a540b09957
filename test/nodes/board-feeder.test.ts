import { expect } from 'chai';
import { parseCsv } from '../../lib/csv';
import type { FeederPicture, SectionPicture } from '../../lib/feeder/picture';
import type { Correction, Trace } from '../../lib/records';
import { problemsOf } from '../../lib/validate';
import { deployFeeder, inventedFeeder } from '../kit/board-feeder';
import { angle, identificationAt, trunk } from '../kit/feeder-trunk';
import { kept, ledgerOf, newLedger } from '../kit/ledger-in-flow';
import { nodeRed, type Rig } from '../kit/node-red';

const site = (k: number, phases: string) =>
  [...phases].map((really, i) => identificationAt(`t${k}${'ABC'[i]}`, angle(really), '2026-05-04T10:00:00.000000Z'));
/** A and B cross at the joint m7. */
const CROSSED = [...site(3, 'ABC'), ...site(6, 'ABC'), ...site(9, 'BAC'), ...site(12, 'BAC')];
const OWN = { 'x-phaseloom': 'board' };

describe('the feeder routes of the board', () => {
  let rig: Rig;
  before(async () => {
    rig = await nodeRed();
  });
  const deploy = async (over: object = {}) => {
    const network = { id: 'net', terminals: [{ id: 't3A' }], feeders: [trunk()] };
    await rig.deploy([
      { id: 'frame', type: 'phaseloom-frame', frameId: 'f' },
      { id: 'network', type: 'phaseloom-network', source: 'inline', document: JSON.stringify(network) },
      newLedger(),
      { id: 'board', type: 'phaseloom-board', ledger: 'ledger', network: 'network', frame: 'frame' },
      {
        id: 'n',
        type: 'phaseloom-feeder-trace',
        frame: 'frame',
        network: 'network',
        ledger: 'ledger',
        gatherS: 0.05,
        ...over,
        wires: [['p'], ['q'], ['r']],
      },
      rig.probe('p'),
      rig.probe('q'),
      rig.probe('r'),
    ]);
    const ledger = await ledgerOf(rig);
    await Promise.all(CROSSED.map((i) => ledger.keep(i)));
    rig.send('n', { payload: CROSSED });
    return (await rig.next('p')).payload as Trace;
  };
  const at = (path: string) => `http://127.0.0.1:${rig.port}/phaseloom/api/${path}`;
  const get = async <T>(path: string) => (await (await fetch(at(path))).json()) as T;
  const decide = (body: object, headers: Record<string, string> = OWN) =>
    fetch(at('feeder/decide'), { method: 'POST', headers, body: JSON.stringify(body) });

  it('show a feeder, a section of it with its evidence, and a day of readings', async () => {
    const trace = await deploy();
    expect(await get('feeders')).to.deep.equal({ feeders: [{ id: 'F', name: 'F', sections: 12 }] });
    const shown = await get<{ picture: FeederPicture; trace: Trace; formats: string[] }>('feeder?id=F');
    expect([shown.trace.id, shown.formats]).to.deep.equal([trace.id, ['csv', 'geojson']]);
    const m9 = shown.picture.ids.indexOf('m9');
    expect(shown.picture.likeliest.slice(3 * m9, 3 * m9 + 3)).to.deep.equal([1, 0, 2]);
    const section = await get<SectionPicture>('feeder/section?feeder=F&section=m8');
    expect([section.recorded, section.phases, section.fedBy]).to.deep.equal([['A', 'B', 'C'], ['B', 'A', 'C'], 'm7']);
    expect(section.near.map((e) => e.section)).to.deep.equal(['m9', 'm6']);
    expect(section.near[0]!.from.every((id) => CROSSED.some((c) => c.id === id))).to.equal(true);
    const { visits } = await get<{ visits: { section: string; terminals: string[]; walk: number }[] }>(
      'feeder/day?feeder=F&visits=2',
    );
    expect(visits.map((v) => v.section)).to.include('m10');
    expect(visits.every((v) => v.terminals.length === 3)).to.equal(true);
    expect(visits.map((v) => v.walk).sort()).to.deep.equal(visits.map((_, i) => i + 1));
  });

  it('send what is long packed, and read the same either way', async () => {
    await deployFeeder(rig, inventedFeeder(1500, 4));
    const ask = (encoding: string) => fetch(at('feeder?id=F1500'), { headers: { 'accept-encoding': encoding } });
    const [packed, plain] = await Promise.all([ask('gzip'), ask('identity')]);
    expect([packed.headers.get('content-encoding'), plain.headers.get('content-encoding')]).to.deep.equal([
      'gzip',
      null,
    ]);
    expect(await packed.json()).to.deep.equal(await plain.json());
  });

  it('keep what a person decides of several labels at once, tell the flow, and give files of what was accepted', async () => {
    const trace = await deploy();
    const sections = trace.corrections.flatMap((c) => c.labels.map((l) => l.section));
    const accept = { action: 'accept-correction', feeder: 'F', sections, by: 'planner', comment: 'seen on the pole' };
    expect((await decide(accept)).status).to.equal(200);
    const stored = await kept<Correction>(rig, 'correction', true);
    expect(stored.map((c) => c.section).sort()).to.deep.equal([...sections].sort());
    for (const c of stored) {
      expect(problemsOf('correction', c)).to.deep.equal([]);
      expect(c).to.include({ decision: 'accepted', by: 'planner', comment: 'seen on the pole' });
    }
    await rig.until('q', sections.length);
    const { decisions } = await get<{ decisions: Correction[] }>('feeder?id=F');
    expect(decisions.map((d) => d.id).sort()).to.deep.equal(stored.map((c) => c.id).sort());
  });

  it('decide nothing from another site, without a reason, or of what is not offered', async () => {
    await deploy();
    const accept = { action: 'accept-correction', feeder: 'F', sections: ['m9', 'm1'], by: 'planner', comment: 'x' };
    expect((await decide(accept, {})).status).to.equal(403);
    expect((await decide(accept, { ...OWN, origin: 'https://elsewhere.example' })).status).to.equal(403);
    const code = async (body: object) => ((await (await decide(body)).json()) as { code: string }).code;
    expect(await code(accept)).to.equal('correction-unknown');
    expect(await code({ ...accept, sections: ['m9'], comment: ' ' })).to.equal('comment-invalid');
    expect(await code({ ...accept, sections: ['m9'], by: '' })).to.equal('by-invalid');
    expect(await code({ ...accept, sections: [] })).to.equal('section-invalid');
    expect(await code({ ...accept, feeder: 'G' })).to.equal('config');
    expect(await kept<Correction>(rig, 'correction')).to.deep.equal([]);
    const file = await fetch(at('feeder/file?feeder=F&format=csv'));
    expect(file.headers.get('content-disposition')).to.match(/^attachment; filename="F-[\w-]+\.csv"$/);
    expect(parseCsv(await file.text())[1]!.fields[0]).to.equal('m7');
    const map = (await (await fetch(at('feeder/file?feeder=F&format=geojson'))).json()) as { features: unknown[] };
    expect(map.features).to.have.length(12 + 15);
    expect((await fetch(at('feeder/file?feeder=F&format=cim'))).status).to.equal(400);
    expect((await fetch(at('feeder/section?feeder=F&section=m99'))).status).to.equal(404);
    expect((await fetch(at('feeder/day?feeder=F&visits=900'))).status).to.equal(400);
  });
});
