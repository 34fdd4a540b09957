/** The job sheet of one visit, from the ledger to paper. Angles: the solved IEEE 13-node feeder (OpenDSS). */
import { expect } from 'chai';
import type { Reading } from '../../lib/records';
import { at, feeder13, feeder13Config, readAt, type Taken } from '../kit/feeder13';
import { admitted, newLedger } from '../kit/ledger-in-flow';
import { nodeRed, type Rig } from '../kit/node-red';
import { type Browser, openBrowser, type Page, PHONE, violations } from '../kit/phone';

const POINT = {
  id: 'OP-1',
  left: ['671/1', '671/2', '671/3'],
  right: ['692/1', '692/2', '692/3'],
  proofTerminal: '632/1',
};
const SPAN = 'from=2026-05-04T00:00:00Z&to=2026-05-05T00:00:00Z';

describe('the job sheet', function () {
  this.timeout(60_000);
  let rig: Rig;
  let browser: Browser;
  let page: Page;
  let read: readonly Reading[];

  before(async () => {
    rig = await nodeRed();
    browser = await openBrowser();
    const judging = { frame: 'frame', network: 'network', ledger: 'ledger', waitS: 0 };
    await rig.deploy([
      ...feeder13Config(feeder13({ openPoints: [POINT] })),
      newLedger(),
      { id: 'board', type: 'phaseloom-board', ledger: 'ledger', network: 'network', frame: 'frame' },
      { id: 'pid', type: 'phaseloom-phase-id', ...judging, passOn: true, wires: [['rot']] },
      { id: 'rot', type: 'phaseloom-rotation', ...judging, passOn: true, wires: [['tie']] },
      { id: 'tie', type: 'phaseloom-tie-check', ...judging, wires: [['compared']] },
      rig.probe('compared'),
    ]);
    read = visit();
    for (const msg of await admitted(rig, ...read)) rig.send('pid', msg);
    // The comparison is said anew when the common conductor was read for the last time.
    for (let last = { proof: '' }; last.proof !== 'common-conductor'; ) last = (await rig.next('compared')).payload;
  });
  after(() => browser?.close());
  afterEach(() => page?.context().close());

  const open = async (query: string, options = {}) => {
    page = await (await browser.newContext(options)).newPage();
    page.setDefaultTimeout(8000);
    await page.goto(`http://127.0.0.1:${rig.port}/phaseloom/job-sheet.html${query}`);
    await page.getByRole('heading', { level: 1 }).waitFor();
  };

  /** Two conductors of the right side are changed about. */
  function visit(): Reading[] {
    const left = { by: 'crew 4', job: 'W-17', instrument: { id: 'P-01', calibratedOn: '2026-01-10' } };
    const right = { ...left, instrument: { id: 'P-02', selfTest: 'pass' as const } };
    let s = 0;
    const one = (terminal: string, over: Partial<Reading>, really?: Taken['really']) =>
      readAt(terminal, { atUs: at(10 * s++), over, ...(really ? { really } : {}) });
    const common = () => [one('632/1', left), one('632/1', right)];
    return [
      ...common(),
      ...POINT.left.map((t) => one(t, left)),
      one('692/1', right),
      one('692/2', right, 'C'),
      one('692/3', right, 'B'),
      ...common(),
    ];
  }

  it('says who, when, with what, what was read and what it says, with every record id', async () => {
    await open(`?place=OP-1&${SPAN}`);
    const text = (await page.locator('main').textContent())!;
    for (const part of [
      'crew 4',
      'W-17',
      'not the same phase, swapped; common time: common conductor',
      '692: rotation ACB, counter-clockwise',
      'the record says B',
      'Instrument P-01: locked to its time source; time error 1 µs',
      'calibrated on 2026-01-10',
      'Reference SUB: stands on phase A',
      'The common conductor 632/1 was read 4 times',
      'does not replace testing for absence of voltage',
      'Name, date, signature',
      ...read.map((r) => r.id),
    ])
      expect(text).to.include(part);
    expect(await page.locator('phasor-diagram svg').count()).to.equal(2);
  });

  it('shows one site, and of one work order only', async () => {
    await open(`?place=692&${SPAN}`);
    expect(await page.locator('tbody tr').count()).to.equal(7);
    await page.context().close();
    await open(`?place=692&${SPAN}&job=W-18`);
    await page.getByText('The ledger holds no reading of this place in this time of this work order.').waitFor();
    // What another visit found is no finding of this one.
    expect(await page.locator('main').textContent()).not.to.match(/rotation|confirmed/);
  });

  it('prints to PDF', async () => {
    await open(`?place=OP-1&${SPAN}`);
    const pdf = await page.pdf({
      format: 'A4',
      ...(process.env.PHASELOOM_SHOTS ? { path: `${process.env.PHASELOOM_SHOTS}/sheet.pdf` } : {}),
    });
    // ISO 32000-1, 7.5.2: a PDF file begins with its version; 7.7.3: each page is an object of type Page.
    expect(pdf.subarray(0, 7).toString('latin1')).to.equal('%PDF-1.');
    expect(pdf.toString('latin1').match(/\/Type\s*\/Page\b/g)!.length).to.be.within(1, 4);
    await page.emulateMedia({ media: 'print' });
    if (process.env.PHASELOOM_SHOTS)
      await page.screenshot({ path: `${process.env.PHASELOOM_SHOTS}/sheet.png`, fullPage: true });
    expect(await page.getByRole('button', { name: 'Print' }).isVisible()).to.equal(false);
  });

  it('says what is wrong with what was asked, and asks for it', async () => {
    await open(`?place=nowhere&${SPAN}`);
    await page.getByText('has no site or open point nowhere').waitFor();
    await page.getByLabel('Site or open point').fill('692');
    await page.getByRole('button', { name: 'Show the sheet' }).click();
    await page.getByRole('heading', { name: 'Job sheet: 692' }).waitFor();
    await page.context().close();
    await open('?place=692&from=today&to=2026-05-05T00:00:00Z');
    await page.getByText('from is "today"; right would be an instant such as 2026-05-04T10:15:30Z').waitFor();
  });

  it('has no accessibility faults that axe-core finds, on a phone too', async () => {
    await open(`?place=OP-1&${SPAN}`);
    expect(await violations(page)).to.deep.equal([]);
    await page.context().close();
    await open('', PHONE);
    expect(await violations(page)).to.deep.equal([]);
  });
});
