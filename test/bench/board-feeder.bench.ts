/** Dragging the drawing of a feeder of ten thousand sections by a real mouse: the time between frames, beside a plain SVG of the same feeder. */
import type { Page } from 'playwright-core';
import { drawTree } from '../../lib/feeder/tree-drawing';
import { launch, open } from '../kit/board-browser';
import { deployFeeder, inventedFeeder } from '../kit/board-feeder';
import { nodeRed } from '../kit/node-red';
import { type BenchRow, report } from './report';

const SECTIONS = 10_000;
const MOVES = 120;
const SEED = 3;

interface Frames {
  readonly p50: number;
  readonly p95: number;
  readonly worst: number;
  readonly count: number;
}

/** Times between frames while the mouse drags to and fro, ms. */
async function dragged(page: Page, target: string): Promise<Frames> {
  const box = (await page.locator(target).boundingBox())!;
  const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
  await page.evaluate(`
    window.between = []; window.watching = true; let last = performance.now();
    const frame = (now) => { window.between.push(now - last); last = now; if (window.watching) requestAnimationFrame(frame); };
    requestAnimationFrame(frame);`);
  await page.mouse.move(x, y);
  await page.mouse.down();
  for (let i = 0; i < MOVES; i++) {
    const turn = (2 * Math.PI * i) / 60;
    await page.mouse.move(x + 220 * Math.sin(turn), y + 140 * Math.sin(2 * turn));
  }
  await page.mouse.up();
  const times = ((await page.evaluate('window.watching = false, window.between.slice(1)')) as number[]).sort(
    (a, b) => a - b,
  );
  const at = (share: number) => times[Math.min(times.length - 1, Math.floor(share * times.length))]!;
  return { p50: at(0.5), p95: at(0.95), worst: times.at(-1)!, count: times.length };
}

/** The same feeder as one SVG element a conductor, all of them there, panned by its viewBox. */
async function plainSvg(page: Page, parent: readonly number[]): Promise<void> {
  const { column, lane, columns, lanes } = drawTree({ count: parent.length, parent });
  const lines = Array.from({ length: parent.length - 1 }, (_, i) => {
    const v = i + 1;
    return [0, 1, 2].map((j) => [column[v]! - 1, column[v]!, 84 * lane[v]! + 15 * (j - 1)]);
  }).flat();
  await page.setContent(
    '<style>body{margin:0}svg{width:830px;height:610px;touch-action:none}line{stroke:#0072b2;stroke-width:3}</style><svg></svg>',
  );
  await page.evaluate(
    `(({ lines, wide, high }) => {
      const svg = document.querySelector('svg');
      svg.innerHTML = lines.map(([a, b, y]) => '<line x1="' + 120 * a + '" x2="' + 120 * b + '" y1="' + y + '" y2="' + y + '"/>').join('');
      let view = [0, 0, wide, high], held;
      const show = () => svg.setAttribute('viewBox', view.join(' '));
      svg.onpointerdown = (e) => { held = [e.clientX, e.clientY]; };
      svg.onpointerup = () => { held = undefined; };
      svg.onpointermove = (e) => {
        if (!held) return;
        view[0] -= (e.clientX - held[0]) * view[2] / 830; view[1] -= (e.clientY - held[1]) * view[3] / 610;
        held = [e.clientX, e.clientY]; requestAnimationFrame(show);
      };
      show();
    })(${JSON.stringify({ lines, wide: 120 * columns, high: 84 * lanes })})`,
  );
  await page.waitForTimeout(500);
}

async function main(): Promise<void> {
  const rig = await nodeRed();
  const invented = inventedFeeder(SECTIONS, SEED);
  await deployFeeder(rig, invented);
  const browser = await launch();
  const { page, troubles } = await open(browser, `http://127.0.0.1:${rig.port}/phaseloom/#feeder`, 1440);
  await page.getByRole('heading', { name: 'Where to read next' }).waitFor();
  await page.waitForTimeout(800);
  const drawing = page.getByRole('application');
  const larger = page.getByRole('button', { name: 'Larger' });
  const seen: [string, Frames][] = [['whole feeder', await dragged(page, '.drawing canvas')]];
  // From the whole (0.4 px a lane) to conductors apart, then to letters.
  while ((await scale(page)) < 0.25) await larger.click();
  seen.push(['conductors apart', await dragged(page, '.drawing canvas')]);
  while ((await scale(page)) < 0.65) await larger.click();
  seen.push(['with letters', await dragged(page, '.drawing canvas')]);
  await drawing.focus();
  const response = await page.evaluate(
    `fetch('api/feeder?id=F${SECTIONS}').then((r) => r.json()).then((a) => a.picture.parent)`,
  );
  const peerPage = await (await browser.newContext({ viewport: { width: 1440, height: 900 } })).newPage();
  await plainSvg(peerPage, response as number[]);
  const peer = await dragged(peerPage, 'svg');
  await browser.close();
  await rig.stop();
  if (troubles.length > 0) throw new Error(troubles.join('; '));
  const rows = seen.flatMap(([what, f]): BenchRow[] => [
    row(`${what}, p50`, f.p50, peer.p50),
    row(`${what}, p95`, f.p95, peer.p95),
    row(`${what}, worst of ${f.count} frames`, f.worst, peer.worst),
  ]);
  report('board-feeder', rows);
}

const row = (what: string, value: number, peer: number): BenchRow => ({
  what,
  value,
  unit: 'ms between frames',
  peer: { what: 'plain SVG, whole feeder, ms', value: peer },
  ratio: value / peer,
});

const scale = async (page: Page): Promise<number> =>
  Number(await page.locator('.drawing canvas').getAttribute('data-scale'));

main().then(
  () => process.exit(0),
  (cause) => {
    console.error(cause);
    process.exit(1);
  },
);
