/** The load plan page in Chromium. */
import { readFileSync } from 'node:fs';
import { expect } from 'chai';
import type { Browser } from 'playwright-core';
import { parseCsv } from '../../lib/csv';
import { launch, open, type Seen } from '../kit/board-browser';
import { accessibilityViolations, picture, widthBeyondScreen } from '../kit/board-checks';
import { deployPlan, provenAtT1 } from '../kit/board-plan';
import { nodeRed, type Rig } from '../kit/node-red';

describe('the load plan page in a browser', function () {
  this.timeout(90_000);
  let rig: Rig;
  let browser: Browser;
  let seen: Seen | undefined;
  before(async () => {
    rig = await nodeRed();
    browser = await launch();
    await deployPlan(rig);
  });
  afterEach(async () => {
    await seen?.page.context().close();
    expect(seen?.troubles ?? []).to.deep.equal([]);
    seen = undefined;
  });
  after(async () => {
    await browser?.close();
    await rig.deploy([]);
  });
  const board = async (width = 1440, theme: 'light' | 'dark' = 'light') => {
    seen = await open(browser, `http://127.0.0.1:${rig.port}/phaseloom/#plan`, width, theme);
    return seen.page;
  };

  it('makes a plan, shows each phase before and after, and gives the work list as a file', async () => {
    const page = await board();
    await page.getByText('No plan has been made for this feeder yet.').waitFor();
    await page.getByLabel('Most moves').fill('1');
    await page.getByRole('button', { name: 'Plan anew' }).click();
    const bars = page.getByRole('region', { name: /Load by phase/ });
    await bars.getByRole('row').nth(3).waitFor({ timeout: 30_000 });
    // 30, 45, 105 kW; with t1 (30 kW) from C to A: 60, 45, 75.
    const cells = await bars.locator('tbody tr').allTextContents();
    expect(cells).to.deep.equal(['A30.060.0', 'B45.045.0', 'C10575.0']);
    await bars.getByText(/75\.0 % before, 25\.0 % after/).waitFor();
    await bars.getByText(/5\.00 kW on unknown phases are in neither/).waitFor();
    await page.getByText(/1 load with up to 5\.00 kW on phases that are not known/).waitFor();
    const work = page.getByRole('region', { name: 'Work list' });
    await work.getByText('1. load t1').waitFor();
    const coming = page.waitForEvent('download');
    await work.getByRole('link', { name: 'CSV for the crews' }).click();
    const rows = parseCsv(readFileSync(await (await coming).path(), 'utf8'));
    expect(rows[1]!.fields.slice(0, 6)).to.deep.equal(['1', 'load', 't1', 'head', 'C', 'A']);
    // Readings speak while the page is open.
    rig.send('plan', { payload: provenAtT1('A', 5) });
    await work.getByText(/^confirmed by readings/).waitFor();
    rig.send('plan', { payload: provenAtT1('B', 9) });
    await work.getByText(/^contradicted: readings prove other phases \(B\)/).waitFor();
  });

  it('draws what each move buys, with greedy and the bound beside it', async () => {
    const page = await board();
    const curve = page.getByRole('region', { name: 'What each further move buys' });
    const found = async () =>
      (await curve.locator('tbody tr td:nth-child(2)').allTextContents()).map(Number.parseFloat);
    await curve.getByText('Kept with the plan.').waitFor();
    // As planned: 30, 45, 105 kW; then t1 on A: 60, 45, 75; then t2 on B too: 60, 60, 60.
    expect(await found()).to.deep.equal([75, 25, 0]);
    await page.getByLabel('Up to').selectOption('3');
    await page.getByRole('button', { name: 'Draw the curve' }).click();
    await curve.getByText(/^Asked for now/).waitFor({ timeout: 40_000 });
    // The readings since put t1 on B: 30, 75, 75 kW.
    expect(await found()).to.deep.equal([50, 25, 0]);
  });

  it('says on which phase a new customer goes', async () => {
    const page = await board();
    await page.getByLabel('Section', { exact: true }).last().fill('far');
    await page.getByLabel('Load, kW').fill('6');
    await page.getByRole('button', { name: 'Which phase' }).click();
    const options = page.getByRole('region', { name: 'Where a new customer goes' });
    await options.getByRole('row').nth(3).waitFor();
    expect(await options.locator('tbody tr td:first-child').first().textContent()).to.equal('A');
    await options.getByText('On A: what it does to every section above (3)').click();
    const above = options.locator('details[open] tbody tr');
    // T1 was read on B: 30, 75, 75 kW at the head; with 6 kW on A 36, 75, 75.
    expect(await above.nth(1).textContent()).to.match(/^head50\.0 % → 41\.9 %.*A 30\.0 → 36\.0, B 75\.0 → 75\.0/);
  });

  it('shows what every section carries, with load of unknown phase as such', async () => {
    const page = await board();
    const loads = page.getByRole('region', { name: 'What every section carries' });
    await loads.getByRole('button', { name: 'Show' }).click();
    const rows = loads.locator('tbody tr');
    await rows.nth(2).waitFor();
    const [, head, far] = await rows.allTextContents();
    // 30, 75, 75 kW; 1000 x 30 / 7200 A; the neutral carries the 45 kW by which A is short: 6.25 A, opposite to A.
    expect(head).to.match(/^head30\.0, 0\.00, 4\.17/);
    expect(head).to.match(/50\.0 %6\.25 A at .180°5\.00 kW, 1 load$/);
    expect(far).to.match(/^far0\.00, 0\.00, 0\.00.*5\.00 kW, 1 load$/);
    await loads.getByLabel('Section', { exact: true }).fill('fa');
    expect(await rows.count()).to.equal(1);
  });

  it('a search can be broken off', async () => {
    const page = await board();
    const asked: string[] = [];
    let letGo = () => {};
    const held = new Promise<void>((go) => (letGo = go));
    await page.route('**/plan/ask', async (route) => {
      const { ask } = route.request().postDataJSON();
      asked.push(ask);
      if (ask === 'plan') await held;
      await route.continue();
    });
    await page.getByRole('button', { name: 'Plan anew' }).click();
    const cancelled = page.waitForResponse((r) => r.url().endsWith('/plan/ask'));
    await page.getByRole('button', { name: 'Take the best so far' }).click();
    await cancelled;
    letGo();
    await page.getByRole('button', { name: 'Plan anew' }).waitFor();
    expect(asked).to.deep.equal(['plan', 'cancel']);
  });

  describe('has no violation of WCAG 2.2 A and AA that axe-core finds, and does not scroll sideways,', () => {
    for (const width of [1440, 360]) {
      for (const theme of ['light', 'dark'] as const) {
        it(`at ${width} px, ${theme}`, async () => {
          const page = await board(width, theme);
          await page.getByRole('heading', { name: 'Work list' }).waitFor();
          await page.getByLabel('Up to').selectOption('3');
          await page.getByRole('button', { name: 'Draw the curve' }).click();
          await page.getByText(/^Asked for now/).waitFor({ timeout: 40_000 });
          await page.getByRole('button', { name: 'Show', exact: true }).click();
          await page.getByRole('row', { name: /^far/ }).waitFor();
          await picture(page, `plan-${width}-${theme}`, true);
          expect(await accessibilityViolations(page)).to.deep.equal([]);
          expect(await widthBeyondScreen(page)).to.be.at.most(0);
        });
      }
    }
  });
});
