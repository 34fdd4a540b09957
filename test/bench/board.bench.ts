/**
 * The long lists of the board in Chromium, turned through by a real wheel: 10,000 alerts and 100,000 records, beside a plain list of
 * 10,000 rows with the same markup and styles, all of them in the page: with 100,000 it does not open in a minute.
 */
import type { Browser, Page } from 'playwright-core';
import type { Ledger } from '../../nodes/ledger/ledger';
import { launch } from '../kit/board-browser';
import { ledgerOf, newLedger } from '../kit/ledger-in-flow';
import { nodeRed, type Rig } from '../kit/node-red';
import { alert, comparison } from '../nodes/ledger-samples';
import { type BenchRow, report } from './report';

const ALERTS = 10_000;
const RECORDS = 100_000;
const PLAIN = 10_000;
const AT_ONCE = 1000;
const TURNS = 240;
const TURN_PX = 300;

interface Scrolled {
  readonly firstRowMs: number;
  readonly p50: number;
  readonly p95: number;
  readonly worst: number;
  readonly longTasks: number;
  readonly longMs: number;
  readonly rowsPassed: number;
}

async function fill(ledger: Ledger): Promise<void> {
  const states = ['unacknowledged', 'acknowledged', 'shelved'] as const;
  for (let n = 0; n < ALERTS; n += AT_ONCE) {
    const some = Array.from({ length: AT_ONCE }, (_, i) => {
      const subject = `hollin-bank/F${(n + i) % 40}/T${n + i}`;
      return alert(`tie-mismatch:${subject}`, 1, n + i, { subject, state: states[(n + i) % 3]! });
    });
    await Promise.all(some.map((a) => ledger.saveAlert(a)));
  }
  for (let n = 0; n < RECORDS; n += AT_ONCE) {
    const some = Array.from({ length: AT_ONCE }, (_, i) => comparison(`hollin-bank/F3/T${n + i}`, (n + i) / 10));
    await Promise.all(some.map((c) => ledger.keep(c)));
  }
}

/** Frames and long tasks (over 50 ms, W3C Long Tasks) are watched from the first turn of the wheel to the last. */
const WATCH = `(() => {
  const seen = (window.watched = { frames: [], long: [], goes: true });
  let last;
  const frame = (now) => { if (last !== undefined) seen.frames.push(now - last); last = now; if (seen.goes) requestAnimationFrame(frame); };
  requestAnimationFrame(frame);
  new PerformanceObserver((list) => seen.long.push(...list.getEntries().map((e) => e.duration))).observe({ type: 'longtask' });
})()`;

async function scrolled(page: Page, url: string, rowPx: number): Promise<Scrolled> {
  const began = performance.now();
  await page.goto(url, { waitUntil: 'commit' });
  await page.locator('.list-row').first().waitFor({ timeout: 120_000 });
  const firstRowMs = performance.now() - began;
  await page.waitForTimeout(1000);
  const box = (await page.locator('.list').boundingBox())!;
  await page.mouse.move(box.x + box.width / 2, box.y + 200);
  await page.evaluate(WATCH);
  for (let turn = 0; turn < TURNS; turn++) await page.mouse.wheel(0, TURN_PX);
  const watched = (await page.evaluate('window.watched.goes = false, window.watched')) as {
    frames: number[];
    long: number[];
  };
  const top = (await page.evaluate("document.querySelector('.list').scrollTop")) as number;
  const frames = watched.frames.sort((a, b) => a - b);
  const part = (share: number) => frames[Math.min(frames.length - 1, Math.floor(frames.length * share))] ?? 0;
  return {
    firstRowMs,
    p50: part(0.5),
    p95: part(0.95),
    worst: frames.at(-1) ?? 0,
    longTasks: watched.long.length,
    longMs: watched.long.reduce((a, b) => a + b, 0),
    rowsPassed: top / rowPx,
  };
}

/** The page as the board has it, with every row in it; its rows are copies of one that the board drew. */
async function plainPage(page: Page, url: string): Promise<string> {
  await page.goto(url);
  await page.locator('.list-row .second').first().waitFor();
  const style = (await page.evaluate("document.querySelector('link[rel=stylesheet]').href")) as string;
  const row = (await page.evaluate("document.querySelector('.list-row').innerHTML")) as string;
  const rowPx = (await page.evaluate("document.querySelector('.list-row').offsetHeight")) as number;
  const one = `<div class="list-row" role="option" style="position:relative;height:${rowPx}px">${row}</div>`;
  return `<!doctype html><meta charset="utf-8"><link rel="stylesheet" href="${style}"><div id="board"><main><div class="split">
    <section class="split-list"><div class="list" role="listbox" tabindex="0">${one.repeat(PLAIN)}</div></section></div></main></div>`;
}

async function list(browser: Browser, rig: Rig, hash: string, rowPx: number): Promise<BenchRow[]> {
  const board = `http://127.0.0.1:${rig.port}/phaseloom/`;
  const newPage = async () => (await browser.newContext({ viewport: { width: 1440, height: 900 } })).newPage();
  const maker = await newPage();
  const plain = await plainPage(maker, `${board}${hash}`);
  await maker.context().close();
  const ours = await newPage();
  const measured = await scrolled(ours, `${board}${hash}`, rowPx);
  await ours.context().close();
  const theirs = await newPage();
  await theirs.route('**/plain.html', (route) => route.fulfill({ contentType: 'text/html', body: plain }));
  const peer = await scrolled(theirs, `${board}plain.html`, rowPx);
  await theirs.context().close();
  const beside = (what: string, value: number, unit: string, plainValue: number, aim?: string): BenchRow => ({
    what,
    value,
    unit,
    peer: { what: 'plain list', value: plainValue },
    ...(value > 0 ? { ratio: plainValue / value } : {}),
    ...(aim ? { aim } : {}),
  });
  return [
    beside('opened to first row', measured.firstRowMs, 'ms', peer.firstRowMs),
    beside('frame interval, half of them', measured.p50, 'ms', peer.p50, '16.7 ms'),
    beside('frame interval, 95 %', measured.p95, 'ms', peer.p95),
    beside('frame interval, worst', measured.worst, 'ms', peer.worst),
    beside('long tasks', measured.longTasks, 'tasks', peer.longTasks),
    beside('long tasks together', measured.longMs, 'ms', peer.longMs),
    {
      what: 'rows passed',
      value: measured.rowsPassed,
      unit: 'rows',
      peer: { what: 'plain list', value: peer.rowsPassed },
    },
  ];
}

async function main(): Promise<void> {
  const rig = await nodeRed();
  await rig.deploy([newLedger(), { id: 'board', type: 'phaseloom-board', ledger: 'ledger' }]);
  await fill(await ledgerOf(rig));
  const browser = await launch();
  report(`board, ${ALERTS} alerts`, await list(browser, rig, '#alerts', 82));
  report(`board, ${RECORDS} records`, await list(browser, rig, '#records?kinds=comparison', 60));
  await browser.close();
  await rig.stop();
}

main().then(
  () => process.exit(),
  (cause) => {
    console.error(cause);
    process.exit(1);
  },
);
