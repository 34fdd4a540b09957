/** The board finds its way back: a server that ends and comes again, a line that says nothing any more, and figures that are the ledger's. */
import { join } from 'node:path';
import { DatabaseSync } from 'node:sqlite';
import { expect } from 'chai';
import type { Browser, Page } from 'playwright-core';
import { SqliteLedger } from '../../nodes/ledger/sqlite/sqlite-ledger';
import { launch, open, type Seen } from '../kit/board-browser';
import { type ChildRed, childRed } from '../kit/child-red';
import { type CutLine, lineTo } from '../kit/cut-line';
import { admitted, alert, comparison, reading, rejection } from '../nodes/ledger-samples';

const FLOW = [
  { id: 'ledger', type: 'phaseloom-ledger', file: 'line.sqlite' },
  { id: 'board', type: 'phaseloom-board', ledger: 'ledger' },
  { id: 'desk', type: 'phaseloom-alert-desk', ledger: 'ledger', wires: [[]] },
];

describe('the line between board and browser', function () {
  this.timeout(90_000);
  let red: ChildRed;
  let browser: Browser;
  let seen: Seen;
  const file = () => join(red.userDir, 'line.sqlite');

  before(async () => {
    red = await childRed(FLOW);
    await red.start();
    browser = await launch();
  });
  afterEach(() => seen?.page.context().close());
  after(async () => {
    await browser?.close();
    await red?.kill();
  });

  /** As another worker on the same ledger would store it. */
  async function store(put: (ledger: SqliteLedger) => Promise<unknown>): Promise<void> {
    const ledger = new SqliteLedger({ file: file() });
    await ledger.open();
    await put(ledger);
    await ledger.close();
  }
  const isLive = (page: Page) => page.getByText('● live').waitFor();

  it('shows what holds then, after the server was killed and started again', async () => {
    seen = await open(browser, `${red.url}/phaseloom/`, 1440);
    const { page } = seen;
    await isLive(page);
    await page.getByText('No alert is open.').waitFor();
    await red.kill();
    await page.getByText('○ no connection').waitFor();
    await store((ledger) => ledger.saveAlert(alert('tie-mismatch:T-1', 1, 0, { subject: 'T-1' })));
    await red.start();
    await page.locator('.list-row', { hasText: 'T-1' }).waitFor();
    await isLive(page);
  });

  it('begins anew when nothing is heard any more, as after sleep, and shows what holds then', async () => {
    const line: CutLine = await lineTo(Number(new URL(red.url).port));
    try {
      seen = await open(browser, `http://127.0.0.1:${line.port}/phaseloom/`, 1440, 'light', true);
      const { page } = seen;
      await isLive(page);
      await page.locator('.list-row', { hasText: 'T-1' }).waitFor();
      line.silence();
      await store((ledger) => ledger.saveAlert(alert('tie-mismatch:T-2', 1, 0, { subject: 'T-2' })));
      // The lid is closed for a minute: timers due in between run once, the clock jumps.
      await page.clock.fastForward('01:00');
      await page.locator('.list-row', { hasText: 'T-2' }).waitFor();
      await isLive(page);
    } finally {
      await line.close();
    }
  });

  it('shows on the health page what plain SQL counts in the ledger', async () => {
    await store(async (ledger) => {
      const terminals = Array.from({ length: 7 }, (_, n) => reading('F3/S1/1', n));
      await ledger.admit(terminals.map(admitted), [rejection('F3/S1/1', 1), rejection('F3/S1/2', 2)]);
      for (let n = 0; n < 3; n++) await ledger.keep(comparison('T-1', n));
      await ledger.saveAlert(alert('k', 1, 0), [
        { destination: 'outside', key: 'k', subject: 'k', record: comparison('T-1', 9) },
      ]);
      await ledger.saveAlert(alert('over', 1, 0, { state: 'normal', active: false }));
    });
    seen = await open(browser, `${red.url}/phaseloom/#health`, 1440);
    const shown = async (name: string) => {
      const figure = seen.page.locator('.figures div').filter({ has: seen.page.getByText(name, { exact: true }) });
      return Number((await figure.locator('dd').textContent())!.replaceAll(',', ''));
    };
    await seen.page.locator('.figures').waitFor();
    const database = new DatabaseSync(file(), { readOnly: true });
    const count = (from: string) => (database.prepare(`select count(*) as n from ${from}`).get() as { n: number }).n;
    expect({
      readings: await shown('readings'),
      findings: await shown('findings'),
      rejected: await shown('rejected'),
      open: await shown('alerts open'),
      waiting: await shown('deliveries waiting'),
    }).to.deep.equal({
      readings: count('reading'),
      findings: count('finding'),
      rejected: count('rejection'),
      open: count("alert where state <> 'normal'"),
      waiting: count("delivery where state = 'waiting'"),
    });
    expect(count('reading')).to.equal(7);
    database.close();
  });
});
