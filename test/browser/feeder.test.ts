/** The feeder page in Chromium: the drawing, evidence, decisions, files, and where to read next. */
import { readFileSync } from 'node:fs';
import { expect } from 'chai';
import type { Browser, Page } from 'playwright-core';
import { parseCsv } from '../../lib/csv';
import type { Correction, Trace } from '../../lib/records';
import { launch, open, type Seen } from '../kit/board-browser';
import { accessibilityViolations, picture, widthBeyondScreen } from '../kit/board-checks';
import { deployFeeder, inventedFeeder } from '../kit/board-feeder';
import { angle, identificationAt, trunk } from '../kit/feeder-trunk';
import { kept } from '../kit/ledger-in-flow';
import { nodeRed, type Rig } from '../kit/node-red';

const AT = '2026-05-04T10:00:00.000000Z';
const site = (k: number, phases: string) =>
  [...phases].map((really, i) => identificationAt(`t${k}${'ABC'[i]}`, angle(really), AT));
/** A and B cross at the joint m7; closed through the switch k the loop contradicts the readings. */
const CROSSED = {
  document: {
    ...trunk(),
    switches: [{ id: 'k', from: 'n3', to: 'n12', phases: ['A', 'B', 'C'], closed: true }],
  },
  identifications: [3, 6].flatMap((k) => site(k, 'ABC')).concat([9, 10, 12].flatMap((k) => site(k, 'BAC'))),
};
const PLAIN = {
  document: trunk(),
  identifications: [...site(3, 'ABC'), ...site(6, 'ABC'), ...site(9, 'BAC'), ...site(12, 'BAC')],
};

describe('the feeder page in a browser', () => {
  let rig: Rig;
  let browser: Browser;
  let seen: Seen | undefined;
  before(async () => {
    rig = await nodeRed();
    browser = await launch();
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
  const drawing = (page: Page) => page.getByRole('application', { name: /Drawing of feeder/ });
  const told = (page: Page) => page.locator('.drawing [aria-live]');

  it('tells the phase of each conductor with its probability, and leads to the evidence', async () => {
    await deployFeeder(rig, PLAIN);
    const page = await board('#feeder/F?section=m7');
    const card = page.getByRole('article', { name: 'Section m7' });
    const rows = card.getByRole('row');
    // The crossing is between m6 and m9, at the joint m7 by its prior: m7 stands as m9 was read.
    expect(await rows.nth(1).textContent()).to.match(/^B\s.*Alikely, ≠ record|^B\s.*Asettled, ≠ record/);
    await card.getByText(/holds? 95 % of a suspected crossing/).waitFor();
    await card.getByRole('link', { name: /^t9A/ }).click();
    await page.getByRole('heading', { name: 'identification t9A' }).waitFor();
  });

  it('says where the evidence is thin, and offers no correction there', async () => {
    await deployFeeder(rig, { document: trunk(), identifications: site(9, 'BAC') });
    const page = await board('#feeder/F?section=m8');
    await page.getByText(/evidence is thin here/).waitFor();
    const row = page.getByRole('article', { name: 'Section m8' }).getByRole('row').nth(1);
    expect(await row.textContent()).to.match(/\?.*not proven$/);
    await page.getByText(/^None is offered/).waitFor();
  });

  it('is walked through by keys, and each step is told in words', async () => {
    await deployFeeder(rig, PLAIN);
    const page = await board('#feeder');
    await drawing(page).focus();
    await page.keyboard.press('Home');
    await told(page)
      .getByText(/^Section m1\./)
      .waitFor();
    for (let i = 0; i < 3; i++) await page.keyboard.press('ArrowRight');
    await told(page)
      .getByText(/^Section m4\. recorded A: A, settled/)
      .waitFor();
    await page.keyboard.press('ArrowLeft');
    await told(page)
      .getByText(/^Section m3\./)
      .waitFor();
    expect(page.url()).to.match(/#feeder\/F\?section=m3$/);
  });

  it('picks the section that is clicked', async () => {
    await deployFeeder(rig, PLAIN);
    const page = await board('#feeder/F?section=m5');
    await page.getByRole('heading', { name: 'Section m5' }).waitFor();
    const box = (await drawing(page).locator('canvas').boundingBox())!;
    // What is chosen comes to the middle at scale 0.8; the next section is 96 px to the right (COLUMN_PX x 0.8).
    await page.mouse.click(box.x + box.width / 2 + 96, box.y + box.height / 2);
    await page.getByRole('heading', { name: 'Section m6' }).waitFor();
  });

  it('tells a contradicted loop, and leads to its alert', async () => {
    await deployFeeder(rig, CROSSED);
    const page = await board('#feeder');
    await page.getByText(/^Loop m9:/).waitFor();
    await page.getByRole('link', { name: 'The alert' }).click();
    await page.getByRole('heading', { name: /^F: contradiction in the network/ }).waitFor();
  });

  it('takes a decision with who and why, keeps it, shows it, and gives what was accepted as a file', async () => {
    await deployFeeder(rig, PLAIN);
    const trace = rig.got('traces').at(-1)!.payload as Trace;
    const labels = trace.corrections[0]!.labels.map((l) => l.section);
    const page = await board('#feeder');
    await page.getByText(`explains ${labels.length} labels`).waitFor();
    await page.getByText('Accept or refuse').click();
    const form = page.getByRole('form', { name: /Decide: corrections/ });
    const accept = form.getByRole('button', { name: /^Accept/ });
    await accept.click();
    await form.getByText('Say who you are first').waitFor();
    await page.getByLabel('You are').fill('Planner 3');
    await accept.click();
    await form.getByText('Say why.').waitFor();
    await form.getByLabel(/^Why/).fill('joint opened, seen crossed');
    await accept.click();
    await page.getByText(`All decisions (${labels.length})`).waitFor();
    await page.getByText(`Accepted, and taken as recorded from then on (${labels.length})`).waitFor();
    await page.getByText(/^None is offered/).waitFor();
    const stored = await kept<Correction>(rig, 'correction', true);
    expect(stored.map((c) => c.section).sort()).to.deep.equal([...labels].sort());
    for (const c of stored) expect(c).to.include({ by: 'Planner 3', comment: 'joint opened, seen crossed' });
    await page.getByText(/^All decisions/).click();
    await page
      .getByText(/^All decisions/)
      .locator('..')
      .getByRole('link')
      .first()
      .click();
    await page
      .getByText(/by Planner 3|"Planner 3"/)
      .first()
      .waitFor();
    await page.goBack();
    const coming = page.waitForEvent('download');
    await page.getByRole('link', { name: 'accepted, CSV' }).click();
    const rows = parseCsv(readFileSync(await (await coming).path(), 'utf8'));
    expect(rows.map((r) => r.fields[0])).to.include.members(['section', ...labels]);
    const map = page.waitForEvent('download');
    await page.getByRole('link', { name: 'GeoJSON map' }).click();
    const { features } = JSON.parse(readFileSync(await (await map).path(), 'utf8'));
    // Twelve sections, then the terminals.
    expect(features).to.have.length(12 + 15);
  });

  it('tells where readings contradict by now what was accepted, and asks again', async () => {
    await deployFeeder(rig, PLAIN);
    rig.send('trace', { payload: { action: 'accept-correction', section: 'm9', by: 'Planner 3' } });
    const page = await board('#feeder');
    await page.getByText(/^Accepted, and taken as recorded from then on \(1\)/).waitFor();
    expect(await page.getByText('contradicted since').count()).to.equal(0);
    const later = [9, 12].flatMap((k) =>
      [...'ABC'].map((p) => identificationAt(`t${k}${p}`, angle(p), AT.replace('10:', '11:'))),
    );
    rig.send('trace', { payload: later });
    await page.getByText('contradicted since: decide again above').waitFor();
    await page
      .getByText(/^One change at .* explains/)
      .first()
      .waitFor();
    const coming = page.waitForEvent('download');
    await page.getByRole('link', { name: 'accepted, CSV' }).click();
    const rows = parseCsv(readFileSync(await (await coming).path(), 'utf8'));
    expect(rows.map((r) => r.fields[0])).not.to.include('m9');
  });

  it('says where to read next, and makes a day of it', async () => {
    await deployFeeder(rig, inventedFeeder(300, 5));
    const page = await board('#feeder');
    const next = page.getByRole('region', { name: 'Where to read next' });
    await next.getByRole('listitem').first().waitFor();
    await next.getByLabel(/A crew's day/).selectOption('5');
    await next.getByRole('row').nth(5).waitFor();
    expect(await next.getByRole('row').count()).to.equal(6);
    const stops = await next.locator('tbody tr td:first-child').allTextContents();
    expect(stops).to.deep.equal(['1', '2', '3', '4', '5']);
  });

  describe('has no violation of WCAG 2.2 A and AA that axe-core finds, and does not scroll sideways,', () => {
    before(() => deployFeeder(rig, CROSSED));
    for (const width of [1440, 360]) {
      for (const theme of ['light', 'dark'] as const) {
        it(`at ${width} px, ${theme}`, async () => {
          const page = await board('#feeder/F?section=m8', width, theme);
          await page.getByRole('heading', { name: 'Where to read next' }).waitFor();
          await page.locator('summary').first().click();
          await page.waitForTimeout(400);
          await picture(page, `feeder-${width}-${theme}`, width < 500);
          expect(await accessibilityViolations(page)).to.deep.equal([]);
          expect(await widthBeyondScreen(page)).to.be.at.most(0);
        });
      }
    }
  });
});
