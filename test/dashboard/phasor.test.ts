/**
 * The phasor diagram on a real FlowFuse Dashboard 2, which is installed from the npm registry into a user directory of its own, with the widget's
 * package as npm pack makes it. Expected letters, angles and words are those of the findings in the example flow.
 */
import { execFile } from 'node:child_process';
import { copyFileSync, mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { promisify } from 'node:util';
import { expect } from 'chai';
import type { Browser, Page } from 'playwright-core';
import { launch } from '../kit/board-browser';
import { type ChildRed, childRed } from '../kit/child-red';

const run = promisify(execFile);
const root = resolve(__dirname, '../..');
const widget = join(root, 'dist/nodes/ui-phasor');
const example = join(widget, 'examples/phasor-on-a-dashboard.json');
const AXE = readFileSync(require.resolve('axe-core/axe.min.js'), 'utf8');
const RULES = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'];

describe('the phasor diagram on a dashboard', function () {
  this.timeout(300_000);
  let red: ChildRed;
  let browser: Browser;
  let page: Page;
  const troubles: string[] = [];

  before(async () => {
    red = await childRed([]);
    await install(red.userDir);
    copyFileSync(example, join(red.userDir, 'flows.json'));
    await red.start();
    browser = await launch();
    page = await (await browser.newContext({ viewport: { width: 900, height: 1000 } })).newPage();
    page.on('pageerror', (e) => troubles.push(e.message));
    await page.goto(`${red.url}/dashboard/phasors`);
    await page.locator('.phaseloom-phasor svg').waitFor({ timeout: 60_000 });
  });
  after(async () => {
    await browser?.close();
    await red?.kill();
    // The dashboard takes 135 MB.
    if (red) rmSync(red.userDir, { recursive: true, force: true });
  });

  const press = (id: string) => fetch(`${red.url}/inject/${id}`, { method: 'POST' });
  const letters = () => page.locator('.phaseloom-phasor svg text[font-weight="bold"]').allTextContents();
  const verdicts = () => page.locator('.phaseloom-verdict').allTextContents();

  it('shows what came before the page was opened: letters, arcs, verdicts, reasons, cautions', async () => {
    expect(await letters()).to.deep.equal(['A', 'B', '?']);
    expect(await page.locator('.phaseloom-phasor svg path').count()).to.equal(3);
    expect(await page.locator('.phaseloom-phasor desc').textContent()).to.contain('S1/2: B at -118.4 degrees');
    expect(await verdicts()).to.deep.equal([
      'example/S1/1: phase A, identified',
      'example/S1/2: phase B, identified; the record says C',
      'example/S1/3: not proven',
    ]);
    expect(await page.locator('.phaseloom-reason').textContent()).to.contain('between two phases');
    expect(await page.locator('.phaseloom-caution').count()).to.equal(2);
    const dashes = await page
      .locator('.phaseloom-phasor svg line[stroke-width="3"]')
      .evaluateAll((lines) =>
        lines.map((line) => `${line.getAttribute('stroke')} ${line.getAttribute('stroke-dasharray') ?? 'solid'}`),
      );
    expect(dashes).to.deep.equal(['#0072B2 solid', '#D55E00 9 4', '#555555 8 3 2 3']);
    await shot('identification');
  });

  it('has no violation of WCAG 2.0 to 2.2, levels A and AA, that axe-core finds', async () => {
    await page.addScriptTag({ content: AXE });
    const found = await page.evaluate(
      `axe.run('.phaseloom-phasor', { runOnly: ${JSON.stringify(RULES)} }).then((r) => r.violations.map((v) => v.id))`,
    );
    expect(found).to.deep.equal([]);
  });

  it('shows a rotation in its place', async () => {
    await press('dash-go-2');
    await page.getByText('example/S1: ACB; differs from the record').waitFor();
    expect(await letters()).to.deep.equal(['1', '2', '3']);
    await shot('rotation');
  });

  it('shows an open point in its place', async () => {
    await press('dash-go-3');
    await page.getByText('example/TIE-1: not the same phase, rolled').waitFor();
    await page.getByText('1: example/S1/1 against example/S2/1, 118.9°').waitFor();
    expect(await letters()).to.deep.equal(['1', '2', '3']);
    expect(await page.locator('.phaseloom-phasor svg').count()).to.equal(3);
    await shot('comparison');
  });

  it('raises no exception in the page', () => expect(troubles).to.deep.equal([]));

  async function shot(name: string): Promise<void> {
    const folder = process.env.PHASELOOM_SHOTS;
    if (!folder) return;
    mkdirSync(folder, { recursive: true });
    await page.screenshot({ path: join(folder, `dashboard-${name}.png`) });
  }
});

async function install(userDir: string): Promise<void> {
  const { stdout } = await run('npm', ['pack', '--ignore-scripts', '--json', '--pack-destination', userDir], {
    cwd: widget,
  });
  const tarball = join(userDir, JSON.parse(stdout)[0].filename);
  const ours = JSON.stringify({ name: 'dashboard-user', version: '0.0.0', private: true });
  writeFileSync(join(userDir, 'package.json'), ours);
  await run(
    'npm',
    [
      'install',
      '--ignore-scripts',
      '--no-audit',
      '--no-fund',
      '--prefer-offline',
      tarball,
      '@flowfuse/node-red-dashboard@^1.31.0',
    ],
    { cwd: userDir },
  );
}
