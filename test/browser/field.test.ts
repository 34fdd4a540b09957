/** A crew with a phone types what its instruments show. Angles: the solved IEEE 13-node feeder (OpenDSS), to a tenth. */
import { expect } from 'chai';
import type { Ledger } from '../../nodes/ledger/ledger';
import { feeder13, feeder13Config, solved } from '../kit/feeder13';
import { ledgerOf, newLedger } from '../kit/ledger-in-flow';
import { nodeRed, type Rig } from '../kit/node-red';
import { type Browser, type BrowserContext, openBrowser, type Page, PHONE, violations } from '../kit/phone';

const POINT = { id: 'OP-1', left: ['671/1', '671/2', '671/3'], right: ['692/1', '692/2', '692/3'] };
const PROVED = { ...POINT, id: 'OP-2', left: ['632/1'], right: ['633/1'], proofTerminal: '671/1' };

describe('the field page on a phone', function () {
  this.timeout(60_000);
  let rig: Rig;
  let browser: Browser;
  let context: BrowserContext;
  let page: Page;
  let ledger: Ledger;
  const faults: string[] = [];

  before(async () => {
    rig = await nodeRed();
    browser = await openBrowser();
  });
  after(() => browser?.close());
  beforeEach(async () => {
    await rig.deploy([
      ...feeder13Config(feeder13({ openPoints: [POINT, PROVED] })),
      newLedger(),
      { id: 'door', type: 'phaseloom-readings-in', ledger: 'ledger', network: 'network', wires: [['good'], ['bad']] },
      { id: 'board', type: 'phaseloom-board', ledger: 'ledger', network: 'network', frame: 'frame' },
      rig.probe('good'),
      rig.probe('bad'),
    ]);
    ledger = await ledgerOf(rig);
    context = await browser.newContext(PHONE);
    context.setDefaultTimeout(8000);
    page = await context.newPage();
    faults.length = 0;
    page.on('pageerror', (error) => faults.push(error.message));
    await page.goto(`http://127.0.0.1:${rig.port}/phaseloom/field.html`);
  });
  afterEach(async () => {
    await context.close();
    expect(faults).to.deep.equal([]);
  });

  const shot = async (name: string) => {
    if (process.env.PHASELOOM_SHOTS)
      await page.screenshot({ path: `${process.env.PHASELOOM_SHOTS}/${name}.png`, fullPage: true });
  };

  /** Says once who reads, against what, with which instruments. */
  const state = async (second = false) => {
    await page.getByLabel('Who reads').fill('crew 4');
    await page.getByLabel('Angles are read against').selectOption('SUB');
    const sheet = (name: string) => page.getByRole('group', { name });
    const instrument = async (name: string, id: string) => {
      await sheet(name).getByLabel('Number of the instrument').pressSequentially(id);
      await sheet(name).getByLabel('It shows that it is locked').check();
      await sheet(name).getByLabel('Time error').fill('1');
    };
    if (second) await page.getByLabel('Another instrument on the right side').check();
    await instrument(second ? 'Instrument, left side' : 'Instrument', 'P-01');
    if (second) await instrument('Instrument, right side', 'P-02');
  };
  const pick = (id: string) => page.getByRole('button', { name: id }).first().click();
  const shown = (terminal: string, phase: string) => {
    const { angleDeg, voltageV } = solved.get(`${terminal.split('/')[0]}/${phase}`)!;
    return { angle: (angleDeg - solved.get('650/A')!.angleDeg).toFixed(1), voltage: voltageV.toFixed(0) };
  };
  const type = async (terminal: string, phase: string) => {
    await page.getByRole('heading', { level: 3, name: terminal }).waitFor();
    const { angle, voltage } = shown(terminal, phase);
    await page.getByLabel('Angle, degrees').fill(angle);
    await page.getByLabel('Voltage, volts').fill(voltage);
    await page.getByRole('button', { name: 'Next terminal' }).click();
  };
  const says = () => page.getByRole('region', { name: 'What the readings say' });
  const sent = () => page.getByRole('status').filter({ hasText: 'all sent' }).waitFor();

  it('takes six angles by hand and names a swap at once; the readings are in the ledger and in the flow', async () => {
    await pick('OP-1');
    await state();
    await shot('field-setup');
    const really = { '692/2': 'C', '692/3': 'B' } as Record<string, string>;
    for (const t of [...POINT.left, ...POINT.right]) {
      await type(t, really[t] ?? 'ABC'[Number(t.at(-1)) - 1]!);
      if (t === '671/3') {
        expect(await says().textContent()).to.include('Still to read: 692/1 (right side)');
        await shot('field-half');
      }
    }
    const text = await says().textContent();
    await shot('field-swap');
    expect(text).to.include('not the same phase, swapped');
    expect(text).to.include('671/2 faces 692/2 and belongs with 692/3');
    expect(text).to.include('692: rotation ACB, counter-clockwise (seen left to right); the record says ABC');
    expect(text).to.match(/692\/2 phase C, \w+; the record says B/);
    expect(text).to.include('It is not a test for absence of voltage');
    await sent();
    const flow = await rig.until('good', 6);
    expect(flow.map((m) => m.payload.terminal)).to.have.members([...POINT.left, ...POINT.right]);
    const stored = await ledger.latestReadings([...POINT.left, ...POINT.right], 1);
    expect(stored.map(({ reading }) => [reading.by, reading.instrument?.id, reading.against])).to.deep.equal(
      Array(6).fill(['crew 4', 'P-01', 'SUB']),
    );
  });

  it('asks for the common conductor with both instruments, before and after', async () => {
    await pick('OP-2');
    await state(true);
    await type('671/1', 'A');
    await type('671/1', 'A');
    await type('632/1', 'A');
    await type('633/1', 'A');
    expect(await says().textContent()).to.include('671/1 (common conductor, after)');
    await type('671/1', 'A');
    await type('671/1', 'A');
    await shot('field-proof');
    const text = await says().textContent();
    expect(text).to.include('The two sides: same phase');
    expect(text).to.include('Common time of the two sides: common conductor');
    await sent();
  });

  it('keeps what is typed without a connection, over a reload of the page, and sends it later', async () => {
    await pick('671');
    await state();
    await context.route('**/api/**', (route) => route.abort());
    for (const t of POINT.left) await type(t, 'ABC'[Number(t.at(-1)) - 1]!);
    expect(await says().textContent()).to.include('671: rotation ABC, clockwise');
    await page.getByText('3 to be sent: no connection to the board').waitFor();
    await page.reload();
    await page.getByText('3 to be sent').waitFor();
    expect(await says().textContent()).to.include('671: rotation ABC, clockwise');
    expect(rig.got('good')).to.deep.equal([]);
    await context.unroute('**/api/**');
    await page.evaluate(() => window.dispatchEvent(new Event('online')));
    await sent();
    await rig.until('good', 3);
    expect(await ledger.latestReadings(POINT.left, 5)).to.have.length(3);
  });

  it('opens without any connection once it was opened with one', async () => {
    await page.getByRole('heading', { name: 'Where are you?' }).waitFor();
    await page.evaluate(() => navigator.serviceWorker.ready);
    await context.setOffline(true);
    await page.goto(`http://127.0.0.1:${rig.port}/phaseloom/field.html?place=671`);
    await state();
    await type('671/1', 'A');
    await page.getByText('1 to be sent').waitFor();
    expect(await says().textContent()).to.include('671/1 phase A');
    await context.setOffline(false);
    await sent();
    expect((await rig.next('good')).payload.terminal).to.equal('671/1');
  });

  it('says what the front door refuses, and why', async () => {
    await pick('671');
    await state();
    await page.evaluate(() => {
      const now = Date.now();
      Date.now = () => now + 3_600_000;
    });
    await type('671/1', 'A');
    await page.getByText(/Refused: 671\/1: .* is later than it came in/).waitFor();
    expect((await rig.next('bad')).payload.kind).to.equal('rejection');
    await page.getByRole('button', { name: /671\/1.*refused/ }).waitFor();
    expect(await says().count()).to.equal(0);
    await page.getByRole('button', { name: 'Take away' }).click();
    await page.getByRole('button', { name: /671\/1.*not read/ }).waitFor();
    expect(await page.getByText('Refused:').count()).to.equal(0);
    expect(await says().count()).to.equal(0);
  });

  it('corrects a figure only: that the instrument is locked now says nothing of what it showed then', async () => {
    await pick('671');
    await state();
    await page.getByLabel('It shows that it is locked').uncheck();
    await type('671/1', 'B');
    await page.getByLabel('It shows that it is locked').check();
    await page.getByRole('button', { name: /^Typed wrong\?/ }).click();
    await page.getByLabel('Angle, degrees').fill(shown('671/1', 'A').angle);
    await page.getByRole('button', { name: 'Correct what was typed' }).click();
    await page.getByRole('button', { name: /671\/1.*corrected · stored/ }).waitFor();
    expect(await says().textContent()).to.include('671/1 phase not proven');
    const stored = (await ledger.latestReadings(['671/1'], 5)).map(({ reading }) => reading);
    expect(stored.map((r) => r.clock?.locked)).to.deep.equal([false, false]);
  });

  it('sets a wrong instrument number right by a new reading alone', async () => {
    await pick('671');
    await state();
    await type('671/1', 'A');
    await page.getByLabel('Number of the instrument').fill('P-09');
    await page.getByRole('button', { name: /^671\/1/ }).click();
    await page.getByText('It was read with P-01, not with P-09').waitFor();
    expect(await page.getByRole('button', { name: 'Correct what was typed' }).count()).to.equal(0);
    expect(await page.getByLabel('Angle, degrees').inputValue()).to.equal('');
    await shot('field-other-instrument');
    await page.getByLabel('Angle, degrees').fill(shown('671/1', 'A').angle);
    await page.getByRole('button', { name: 'Read again just now' }).click();
    await sent();
    const stored = (await ledger.latestReadings(['671/1'], 5)).map(({ reading }) => reading);
    expect(stored.map((r) => [r.instrument?.id, r.corrects])).to.have.deep.members([
      ['P-01', undefined],
      ['P-09', undefined],
    ]);
  });

  it('loses nothing where two pages are open, and both know what is stored', async () => {
    await pick('671');
    await state();
    await context.route('**/api/**', (route) => route.abort());
    const other = await context.newPage();
    await other.goto(`http://127.0.0.1:${rig.port}/phaseloom/field.html`);
    await other.getByText('all sent').waitFor();
    await type('671/1', 'A');
    await other.getByText('1 to be sent').waitFor();
    await other.getByLabel('Angle, degrees').fill('-120');
    await other.getByRole('button', { name: 'Next terminal' }).click();
    await page.getByText('2 to be sent').waitFor();
    await page.reload();
    await page.getByText('2 to be sent').waitFor();
    await context.unroute('**/api/**');
    await other.evaluate(() => window.dispatchEvent(new Event('online')));
    await other.getByRole('status').filter({ hasText: 'all sent' }).waitFor();
    await sent();
    expect((await rig.until('good', 2)).map((m) => m.payload.kind)).to.deep.equal(['reading', 'reading']);
  });

  it('keeps what it has when a page to sign in to answers in place of the board', async () => {
    await page.getByRole('heading', { name: 'Where are you?' }).waitFor();
    await page.evaluate(() => navigator.serviceWorker.ready);
    const signIn = { status: 200, contentType: 'text/html', body: '<p>sign in</p>' };
    await context.route('**/field.html*', (route) => route.fulfill(signIn));
    await context.route('**/api/**', (route) => route.fulfill(signIn));
    await page.goto(`http://127.0.0.1:${rig.port}/phaseloom/field.html`);
    await page.getByText('sign in').waitFor();
    await context.unroute('**/field.html*');
    await context.setOffline(true);
    await page.goto(`http://127.0.0.1:${rig.port}/phaseloom/field.html?place=671`);
    await context.setOffline(false);
    await state();
    await type('671/1', 'A');
    await page.getByText('1 to be sent: what answered is not the board').waitFor();
    expect(await says().textContent()).to.include('671/1 phase A');
  });

  it('corrects what was typed wrong: both stay in the record, one holds', async () => {
    await pick('671');
    await state();
    await type('671/1', 'B');
    await page.getByRole('button', { name: /^Typed wrong\? Correct 671\/1: −122\.4°/ }).click();
    await page.getByText('It stays in the record, marked as superseded.').waitFor();
    const { angle } = shown('671/1', 'A');
    await page.getByLabel('Angle, degrees').fill(angle);
    await shot('field-correct');
    await page.getByRole('button', { name: 'Correct what was typed' }).click();
    await page.getByRole('button', { name: /671\/1.*corrected/ }).waitFor();
    expect(await says().textContent()).to.match(/671\/1 phase A/);
    await sent();
    const stored = (await ledger.latestReadings(['671/1'], 5)).map(({ reading }) => reading);
    expect(stored).to.have.length(2);
    const [now, before] = stored[0]!.corrects ? stored : [stored[1]!, stored[0]!];
    expect([now!.corrects, now!.takenAt, String(now!.angleDeg)]).to.deep.equal([
      before!.id,
      before!.takenAt,
      String(Number(angle)),
    ]);
  });

  it('says what is wrong with what was typed', async () => {
    await pick('671');
    await state();
    await page.getByLabel('Angle, degrees').fill('12,5x');
    await page.getByRole('button', { name: 'Next terminal' }).click();
    await page.getByText('12,5x is no angle; right would be -720 to 720 degrees').waitFor();
    await page.getByLabel('Angle, degrees').fill('118');
    await page.getByRole('button', { name: 'Change the sign' }).click();
    expect(await page.getByLabel('Angle, degrees').inputValue()).to.equal('-118');
  });

  it('has no accessibility faults that axe-core finds, nothing wider than the phone, and targets for gloves', async () => {
    expect(await violations(page)).to.deep.equal([]);
    await pick('OP-1');
    await state();
    for (const t of POINT.left) await type(t, 'ABC'[Number(t.at(-1)) - 1]!);
    expect(await violations(page)).to.deep.equal([]);
    const small = await page.$$eval('button, input:not([type=checkbox]), select, summary, label.tick', (all) =>
      all.filter((e) => e.checkVisibility() && e.getBoundingClientRect().height < 48).map((e) => e.outerHTML),
    );
    expect(small).to.deep.equal([]);
    expect(await page.evaluate(() => document.documentElement.scrollWidth)).to.equal(360);
  });
});
