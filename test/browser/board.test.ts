/** The board in Chromium. */
import { readFileSync } from 'node:fs';
import { expect } from 'chai';
import type { Browser } from 'playwright-core';
import type { Alert } from '../../lib/records';
import { launch, open, type Seen } from '../kit/board-browser';
import { deployScene, leftSide, others, rolledSide, take } from '../kit/board-scene';
import { ledgerOf } from '../kit/ledger-in-flow';
import { nodeRed, type Rig } from '../kit/node-red';
import { comparisonAt } from '../nodes/alert-samples';

const KEY = 'tie-mismatch:TIE-4';

describe('the board in a browser', () => {
  let rig: Rig;
  let browser: Browser;
  let seen: Seen | undefined;
  before(async () => {
    rig = await nodeRed();
    browser = await launch();
    await deployScene(rig);
    await take(rig, leftSide());
  });
  afterEach(async () => {
    await seen?.page.context().close();
    expect(seen?.troubles ?? []).to.deep.equal([]);
    seen = undefined;
  });
  after(async () => {
    await browser?.close();
  });
  const board = async (hash: string, width = 1440, theme: 'light' | 'dark' = 'light') => {
    seen = await open(browser, `http://127.0.0.1:${rig.port}/phaseloom/${hash}`, width, theme);
    return seen.page;
  };
  const stored = async (): Promise<Alert> => (await (await ledgerOf(rig)).alerts({ keys: [KEY] }))[0]!;

  it('paints first with less than 150 kB over the line, all from the board itself', async () => {
    const page = await board('');
    await page.getByRole('heading', { name: 'Alerts', level: 1 }).waitFor();
    await page.waitForLoadState('load');
    expect(seen!.bytes()).to.be.within(5_000, 150_000);
  });

  it('shows an alert as readings lead to it, acknowledges it, and the ledger says so', async () => {
    const page = await board('');
    await page.getByText('● live').waitFor();
    await take(rig, rolledSide());
    const row = page.locator('.list-row', { hasText: 'TIE-4' });
    await row.waitFor();
    expect(await row.textContent()).to.match(
      /not acknowledged, high: not the same phase, rolled: 633.1 faces 680.1 and belongs/,
    );
    await row.click();
    const detail = page.getByRole('region', { name: 'The chosen alert' });
    await detail
      .getByText(/belongs with/)
      .first()
      .waitFor();
    expect(await detail.textContent()).to.match(/no permission to switch/);
    await detail.getByRole('button', { name: 'Acknowledge' }).click();
    await detail.getByText('Say who you are first').waitFor();
    await page.getByLabel('You are').fill('Desk 2');
    await detail.getByRole('button', { name: 'Acknowledge' }).click();
    await detail.getByText('acknowledged', { exact: true }).first().waitFor();
    expect(await stored()).to.include({ state: 'acknowledged', by: 'Desk 2' });
    await detail.getByText(/acknowledged by Desk 2/).waitFor();
  });

  it('comments and shelves by keys alone, with words and an end', async () => {
    const page = await board('');
    await page.getByLabel('You are').fill('Desk 2');
    await page.getByRole('listbox').focus();
    // The acknowledged alert stands below those that are not.
    await page.keyboard.press('End');
    await page.getByRole('heading', { name: /TIE-4/ }).waitFor();
    await page.keyboard.press('c');
    await page.keyboard.type('Crew 4 is on the way');
    await page.keyboard.press('Tab');
    await page.keyboard.press('Enter');
    await page.getByText(/commented by Desk 2: Crew 4 is on the way/).waitFor();
    await page.getByRole('listbox').focus();
    await page.keyboard.press('s');
    await page.keyboard.type('jumpers are being moved');
    await page.keyboard.press('Enter');
    for (let i = 0; i < 2; i++) await page.keyboard.press('Tab');
    await page.keyboard.press('Enter');
    await page.getByText('shelved', { exact: true }).first().waitFor();
    const alert = await stored();
    expect([alert.state, alert.comment!.trim()]).to.deep.equal(['shelved', 'jumpers are being moved']);
    await page.getByRole('button', { name: 'End the shelving' }).click();
    await page.getByRole('button', { name: 'Acknowledge' }).waitFor();
    await page.getByRole('listbox').focus();
    await page.keyboard.press('a');
    await page.locator('.state', { hasText: /✓\s*acknowledged/ }).waitFor();
    expect(await stored()).to.include({ state: 'acknowledged', transition: 'acknowledged' });
  });

  it('shows at a site which conductor belongs where, and at the feeder what the record has otherwise', async () => {
    await take(rig, others());
    const page = await board('#site/633');
    const face = page.getByRole('region', { name: 'Open point TIE-4' });
    await face.getByText('not the same phase').waitFor();
    // 680 was read one place on (B C A): the conductor A, left 1, is landed on the right at place 3 (by the scene).
    expect(await face.getByRole('row').nth(1).textContent()).to.match(/^A 1\+1\d\d° ± \d\.\d°B 13, not this one$/);
    await page.getByRole('link', { name: 'Feeder' }).click();
    await page.locator('.list-row', { hasText: '680' }).getByText('≠ record A B C').waitFor();
  });

  it('finds records, downloads them, and gives each a lasting address', async () => {
    const page = await board('#records?kinds=comparison');
    await page.locator('.list-row').first().click();
    await page.getByText(/What it rests on \(\d+\)/).waitFor();
    await page.reload();
    await page.getByRole('heading', { name: 'comparison TIE-4' }).waitFor();
    const coming = page.waitForEvent('download');
    await page.getByRole('link', { name: 'CSV' }).click();
    const csv = readFileSync(await (await coming).path(), 'utf8')
      .trimEnd()
      .split('\r\n');
    expect(csv[0]).to.match(/^kind,id,at,/);
    expect(csv.length).to.equal(1 + (await page.locator('.list-row').count()));
  });

  it('draws only the rows in sight of a long list, and reaches the last', async () => {
    const ledger = await ledgerOf(rig);
    const many = Array.from({ length: 600 }, (_, i) => comparisonAt(i, `MANY-${i}`, 'same-phase'));
    await Promise.all(many.map((c) => ledger.keep(c)));
    const page = await board('#records?kinds=comparison&to=2023-11-15T00:00:00Z');
    await page.getByText('MANY-599').waitFor();
    const rows = () => page.locator('.list-row').count();
    expect(await rows()).to.be.within(5, 40);
    await page.getByRole('listbox').focus();
    await page.getByText('600 found').waitFor();
    // A page of records has 200; each End comes to the last that is there, and asks for more.
    for (let i = 0; i < 3; i++) {
      await page.keyboard.press('End');
      await page
        .getByText(`MANY-${[399, 199, 0][i]}`, { exact: true })
        .first()
        .waitFor();
    }
    expect(await rows()).to.be.within(5, 40);
  });

  it('shows no angle between the sides where their common time is not proven', async () => {
    const pair = { left: '633/1', right: '680/1', differenceDeg: 2, sdDeg: null, gapV: null, gapUpperV: null };
    const at = '2099-05-04T10:15:30.000000Z';
    await (await ledgerOf(rig)).keep(comparisonAt(0, 'TIE-4', 'not-proven', { at, pairs: [pair], proof: null }));
    const page = await board('#site/633');
    const face = page.getByRole('region', { name: 'Open point TIE-4' });
    await face.getByText('not proven', { exact: true }).waitFor();
    expect(await face.locator('tbody td:nth-child(2)').allTextContents()).to.deep.equal(['–', '–', '–']);
  });

  it('draws the readings a second as they come', async () => {
    const page = await board('#health');
    await page.locator('.chart canvas').waitFor();
    // The figure needs two counts, two seconds apart.
    await page
      .locator('.figures div', { hasText: 'readings a second' })
      .getByText(/^\d+\.\d$/)
      .waitFor();
  });

  // In a suite of its own, so that it comes last: it empties the board.
  describe('when flows are deployed', () => {
    it('finds its way back by itself after a deployment, and shows what holds then', async () => {
      const page = await board('');
      await page.locator('.list-row', { hasText: 'TIE-4' }).waitFor();
      await page.getByText('● live').waitFor();
      await deployScene(rig);
      await page.getByText('No alert is open.').waitFor();
      await page.getByText('● live').waitFor();
      // What a browser says of a line that was lost for a moment is no trouble.
      seen!.troubles.splice(0);
    });
  });
});
