import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect } from 'chai';
import type { NetworkNode } from '../../nodes/kit/config-nodes';
import { nodeRed, type Rig } from '../kit/node-red';

const DOCUMENT = {
  id: 'n',
  terminals: [{ id: 'a/1', site: 'a' }],
  sites: [{ id: 'a', terminals: ['a/1'], viewing: 'left-to-right' }],
};

describe('the config node network', () => {
  let rig: Rig;
  before(async () => {
    rig = await nodeRed();
  });
  const deploy = async (over: Record<string, unknown>) => {
    await rig.deploy([
      { id: 'net', type: 'phaseloom-network', ...over },
      { id: 'frame', type: 'phaseloom-frame' },
      { id: 'n', type: 'phaseloom-tie-check', frame: 'frame', network: 'net', wires: [[]] },
    ]);
    return rig.node('net') as NetworkNode;
  };
  const file = (name: string, text: string) => writeFileSync(join(rig.userDir, name), text);

  it('holds a JSON document written in the editor', async () => {
    const { network, problem } = await deploy({ document: JSON.stringify(DOCUMENT) });
    expect(problem).to.equal(undefined);
    expect([network!.id, [...network!.terminals.keys()], network!.siteOf.get('a/1')!.id]).to.deep.equal([
      'n',
      ['a/1'],
      'a',
    ]);
  });

  it('holds CSV tables written in the editor, called by the name of the node', async () => {
    const { network } = await deploy({
      name: 'hollin',
      document: 'id,site\na/1,a\na/2,a\n\nopenPoint,left,right\nOP,a/1,a/2',
    });
    expect([network!.id, network!.sites.get('a')!.terminals, network!.openPoints.get('OP')!.right]).to.deep.equal([
      'hollin',
      ['a/1', 'a/2'],
      ['a/2'],
    ]);
  });

  it('reads files in the user directory: JSON, CSV, and open points in a file of their own', async () => {
    file('net.json', JSON.stringify(DOCUMENT));
    expect((await deploy({ source: 'file', file: 'net.json' })).network!.id).to.equal('n');
    file('terminals.csv', 'id,site\na/1,a\na/2,a');
    file('points.csv', 'openPoint,left,right\nOP,a/1,a/2');
    const { network } = await deploy({ source: 'file', file: 'terminals.csv', openPointsFile: 'points.csv' });
    expect([network!.id, [...network!.openPoints.keys()]]).to.deep.equal(['terminals', ['OP']]);
  });

  const troubles: [string, Record<string, unknown>, RegExp][] = [
    ['nothing written', {}, /the network is empty; paste a JSON document or a CSV table/],
    ['a broken document', { name: 'west', document: '{"id":' }, /^network west: not JSON/],
    ['a row that does not work', { document: 'id,nominalV\na,x' }, /row 2: nominalV is "x"; expected a number above 0/],
    ['no file named', { source: 'file' }, /no file is named/],
    ['a file that is not there', { source: 'file', file: 'gone.csv' }, /gone\.csv cannot be read: ENOENT/],
  ];
  for (const [what, settings, why] of troubles) {
    it(`${what}: says so, and so does the node that uses it`, async () => {
      expect((await deploy(settings)).problem).to.match(why);
      expect(rig.status('n')!.fill).to.equal('red');
      rig.send('n', { payload: {} });
      await new Promise((r) => setTimeout(r, 20));
      expect(rig.errors[0]!.message).to.match(why);
    });
  }

  describe('the check while it is being written', () => {
    const check = async (body: unknown) => {
      const answer = await fetch(`http://127.0.0.1:${rig.port}/red/phaseloom/network/check`, {
        method: 'POST',
        headers: { 'content-type': 'application/json' },
        body: JSON.stringify(body),
      });
      return { status: answer.status, body: await answer.json() };
    };
    it('tells what the network holds', async () => {
      const { status, body } = await check({ text: JSON.stringify(DOCUMENT) });
      expect(status).to.equal(200);
      expect(body).to.deep.include({ ok: true, holds: { terminals: 1, sites: 1, openPoints: 0 } });
    });
    it('writes changed rows into a JSON document, which keeps its names', async () => {
      const named = { ...DOCUMENT, name: 'Hollin Bank', sites: [{ ...DOCUMENT.sites[0], name: 'Pole 1' }] };
      const { body } = await check({ text: JSON.stringify(named) });
      const [first] = body.rows.terminals;
      const rows = { ...body.rows, terminals: [{ ...first, recordedPhase: 'B' }] };
      const changed = JSON.parse((await check({ text: JSON.stringify(named), rows })).body.text);
      expect(changed).to.deep.include({ id: 'n', name: 'Hollin Bank' });
      expect(changed.sites[0].name).to.equal('Pole 1');
      expect(changed.terminals).to.deep.equal([{ id: 'a/1', site: 'a', recordedPhase: 'B' }]);
    });
    it('leaves a JSON document as it is while the rows do not work, and gives them back', async () => {
      const text = JSON.stringify(DOCUMENT);
      const rows = { terminals: [{ id: 'a/1', nominalV: 'much' }], openPoints: [] };
      const { body } = await check({ text, rows });
      expect(body).to.deep.equal({
        text,
        ok: false,
        problems: ['row 2: nominalV is "much"; expected a number above 0 with a point, e.g. 12470'],
        rows,
      });
    });
    it('tells what is wrong, and no more than one can read', async () => {
      const { body } = await check({ text: `id,nominalV\n${'a,x\n'.repeat(200)}` });
      expect(body.ok).to.equal(false);
      expect(body.problems).to.have.length(50);
    });
    it('refuses what is no text', async () => {
      expect((await check({ text: 7 })).status).to.equal(400);
      expect((await check({ text: '', openPoints: [] })).status).to.equal(400);
    });
  });
});
