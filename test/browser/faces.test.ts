/**
 * Every page at the width of a phone and of a desk, light and dark: no violation of WCAG 2.0 to 2.2, levels A and AA, that axe-core finds,
 * nothing wider than the window, nothing asked of anybody but the board.
 */
import { mkdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect } from 'chai';
import type { Browser, Page } from 'playwright-core';
import { launch, open, type Seen } from '../kit/board-browser';
import { deployScene, leftSide, others, rolledSide, take } from '../kit/board-scene';
import { ledgerOf } from '../kit/ledger-in-flow';
import { nodeRed, type Rig } from '../kit/node-red';

const AXE = readFileSync(require.resolve('axe-core/axe.min.js'), 'utf8');
const RULES = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'];
/** Pictures of each page go there when it is set. */
const SHOTS = process.env.PHASELOOM_SHOTS;
const KEY = 'tie-mismatch:TIE-4';
const SPAN = 'from=2026-05-04T00:00:00Z&to=2026-05-05T00:00:00Z';

describe('every page, narrow and wide, light and dark', function () {
  this.timeout(120_000);
  let rig: Rig;
  let browser: Browser;
  let seen: Seen | undefined;
  before(async () => {
    rig = await nodeRed();
    browser = await launch();
    await deployScene(rig);
    for (const readings of [leftSide(), rolledSide(), others()]) await take(rig, readings);
    const ledger = await ledgerOf(rig);
    while ((await ledger.records({ kinds: ['comparison'] })).records.length === 0 || !(await isRaised()))
      await new Promise((later) => setTimeout(later, 100));
  });
  const isRaised = async () => (await (await ledgerOf(rig)).alerts({ keys: [KEY] })).length > 0;
  afterEach(async () => {
    await seen?.page.context().close();
    expect(seen?.troubles ?? []).to.deep.equal([]);
    seen = undefined;
  });
  after(() => browser?.close());

  async function faults(page: Page): Promise<readonly string[]> {
    const found = (await page.evaluate(
      `axe.run({ runOnly: ${JSON.stringify(RULES)} }).then((r) => r.violations.map((v) => v.id + ' ' + v.nodes.map((n) => n.html.slice(0, 120) + ' ' + n.failureSummary.slice(0, 200)).join(' | ')))`,
    )) as string[];
    const wide = (await page.evaluate('document.documentElement.scrollWidth - innerWidth')) as number;
    return wide > 0 ? [...found, `${wide} px wider than the window`] : found;
  }

  async function shot(page: Page, name: string): Promise<void> {
    if (!SHOTS) return;
    mkdirSync(SHOTS, { recursive: true });
    await page.screenshot({ path: join(SHOTS, `${name}.png`), fullPage: true });
  }

  /** Each page, and what is there once it stands. */
  const PAGES: Readonly<Record<string, readonly [string, string]>> = {
    alerts: ['', '.list-row'],
    alert: [`#alerts/${KEY}`, '.detail .plain li'],
    site: ['#site/633', '.face'],
    feeder: ['#feeder/680', '.detail'],
    records: ['#records', '.list-row'],
    health: ['#health', '.figures'],
    field: ['field.html?place=TIE-4', 'details'],
    'job-sheet': [`job-sheet.html?place=TIE-4&${SPAN}`, 'tbody tr'],
  };

  async function show(where: string, sign: string): Promise<Page> {
    seen = await open(browser, `http://127.0.0.1:${rig.port}/phaseloom/${where}`, 1440);
    const { page } = seen;
    await page.locator(sign).first().waitFor();
    await page.evaluate(`${AXE}; 0`);
    return page;
  }

  async function inAllFaces(page: Page, name: string): Promise<Record<string, readonly string[]>> {
    const found: Record<string, readonly string[]> = {};
    for (const width of [1440, 360]) {
      await page.setViewportSize({ width, height: width < 500 ? 740 : 900 });
      for (const colorScheme of ['light', 'dark'] as const) {
        await page.emulateMedia({ colorScheme });
        await page.waitForTimeout(100);
        await shot(page, `${name}-${width}-${colorScheme}`);
        const wrong = await faults(page);
        if (wrong.length > 0) found[`${width} px, ${colorScheme}`] = wrong;
      }
    }
    await page.emulateMedia({ colorScheme: 'dark', forcedColors: 'active' });
    await shot(page, `${name}-360-forced`);
    return found;
  }

  for (const [name, [where, sign]] of Object.entries(PAGES)) {
    it(name, async () => expect(await inAllFaces(await show(where, sign), name)).to.deep.equal({}));
  }

  it('a finding at its lasting address', async () => {
    const { records } = await (await ledgerOf(rig)).records({ kinds: ['comparison'], currentOnly: true });
    const page = await show(`#records/${records[0]!.id}`, '.detail pre');
    expect(await inAllFaces(page, 'record')).to.deep.equal({});
  });
});
