/** The network in its dialog: a file in, tables and drawing, a row that is wrong, files out. */
import { readFileSync } from 'node:fs';
import { expect } from 'chai';
import { atRest, type Editor, openEditor } from '../kit/editor';

// biome-ignore lint/suspicious/noExplicitAny: the editor's own global, without published types
declare const RED: any;

const terminal = (id: string, recordedPhase: string, coordinates: readonly number[]) => ({
  type: 'Feature',
  properties: { id, site: id.split('/')[0], recordedPhase, OBJECTID: 1 },
  geometry: { type: 'Point', coordinates },
});
const GEOJSON = {
  type: 'FeatureCollection',
  features: [
    terminal('S118/1', 'A', [8.2, 47.5]),
    terminal('S118/2', 'B', [8.2, 47.5]),
    terminal('R17/1', 'A', [8.23, 47.51]),
    terminal('R17/2', 'B', [8.23, 47.51]),
    { type: 'Feature', properties: { openPoint: 'S118-R17', left: 'S118/1', right: 'R17/1' }, geometry: null },
    { type: 'Feature', properties: { openPoint: 'S118-R17', left: 'S118/2', right: 'R17/2' }, geometry: null },
  ],
};

describe('the network in the editor', function () {
  this.timeout(120_000);
  let editor: Editor;
  const check = () => editor.page.locator('#phaseloom-network-check');

  before(async () => {
    editor = await openEditor({ version: 'node-red', theme: 'light', locale: 'en-US' });
    await editor.page.evaluate(() => RED.editor.editConfig('', 'phaseloom-network', '_ADD_', '', undefined));
    await atRest(editor.page);
  });
  after(() => editor?.stop());

  const told = (pattern: RegExp) =>
    editor.page.waitForFunction(
      (source) => new RegExp(source).test(document.querySelector('#phaseloom-network-check')?.textContent ?? ''),
      pattern.source,
    );

  it('opens a file and shows it as tables and on a map, letters in viewing order', async () => {
    const { page } = editor;
    const asked = page.waitForEvent('filechooser');
    await page.locator('#phaseloom-network-open').click();
    await (await asked).setFiles({
      name: 'places.geojson',
      mimeType: 'application/geo+json',
      buffer: Buffer.from(JSON.stringify(GEOJSON)),
    });
    await told(/4 terminals, 2 sites, 1 open point/);
    expect(await page.locator('[data-cell="terminals-3-id"]').inputValue()).to.equal('R17/2');
    expect(await page.locator('[data-cell="openPoints-1-left"]').inputValue()).to.equal('S118/2');
    const words = await page.locator('#phaseloom-network-drawing text').allTextContents();
    expect(words).to.have.members(['S118-R17', 'S118', 'A B', 'R17', 'A B']);
    // R17 lies to the north and east of S118.
    const at = async (i: number) => (await page.locator('#phaseloom-network-drawing rect').nth(i).boundingBox())!;
    const [s118, r17] = [await at(0), await at(1)];
    expect(r17.x).to.be.greaterThan(s118.x);
    expect(r17.y).to.be.lessThan(s118.y);
  });

  it('a row that is wrong is named with what would be right; nothing typed is lost', async () => {
    const { page } = editor;
    await page.locator('#node-config-input-document').fill('id,site,nominalV\nS1/1,S1,12470\nS1/2,S1,12470\n');
    await told(/2 terminals/);
    await page.locator('[data-cell="terminals-1-nominalV"]').fill('much');
    await page.keyboard.press('Tab');
    await told(/row 3: nominalV is "much"; expected a number above 0/);
    expect(await page.locator('[data-cell="terminals-1-nominalV"]').getAttribute('aria-invalid')).to.equal('true');
    expect(await page.locator('#node-config-input-document').inputValue()).to.equal(
      'id,site,nominalV\nS1/1,S1,12470\nS1/2,S1,much\n',
    );
    await page.locator('[data-cell="terminals-1-nominalV"]').fill('7200');
    await page.keyboard.press('Tab');
    await told(/2 terminals, 1 site/);
    expect(await check().textContent()).to.not.match(/row/);
  });

  it('saves as GeoJSON what it shows', async () => {
    const { page } = editor;
    const saved = page.waitForEvent('download');
    await page.locator('#phaseloom-network-geojson').click();
    const download = await saved;
    expect(download.suggestedFilename()).to.equal('network.geojson');
    const { features } = JSON.parse(readFileSync(await download.path(), 'utf8'));
    expect(features[1]).to.deep.equal({
      type: 'Feature',
      properties: { id: 'S1/2', site: 'S1', position: '2', viewing: 'left-to-right', nominalV: '7200' },
      geometry: null,
    });
    expect(editor.troubles).to.deep.equal([]);
  });
});
