/**
 * A picture of a flow in the editor of a running Node-RED: `npm run shots -- FILE.png [FLOW-TAB-ID] [URL]`.
 * Start the demo first; the default is its flow. Chromium is Debian's.
 */
import { chromium, type Page } from 'playwright-core';

const EXECUTABLE = process.env.CHROMIUM ?? '/usr/bin/chromium';
const ARGS = [
  '--no-sandbox',
  '--disable-gpu',
  '--disable-quic',
  '--no-first-run',
  '--disable-background-networking',
  '--disable-component-update',
  '--disable-sync',
];
const PATIENCE_MS = 180_000;
const VIEW = { width: 1820, height: 1400 };

export async function shoot(file: string, tab = 'demo-flow', url = 'http://127.0.0.1:1880/'): Promise<void> {
  const browser = await chromium.launch({ executablePath: EXECUTABLE, args: ARGS });
  try {
    const page = await browser.newPage({ viewport: VIEW });
    await page.goto(`${url}#flow/${tab}`, { timeout: PATIENCE_MS, waitUntil: 'commit' });
    await settled(page, tab);
    await page.screenshot({ path: file, clip: await extentOf(page) });
  } finally {
    await browser.close();
  }
}

/** The editor drawn, with nothing open that hides the flow. */
async function settled(page: Page, tab: string): Promise<void> {
  await page.waitForSelector('.red-ui-flow-node', { timeout: PATIENCE_MS });
  await page.evaluate((id) => {
    // biome-ignore lint/suspicious/noExplicitAny: the editor's global
    const { RED } = globalThis as any;
    RED.workspaces.show(id);
    for (const panel of ['palette', 'sidebar']) RED.actions.invoke(`core:toggle-${panel}`);
    document.getElementById('red-ui-workspace-chart')?.scrollTo(0, 0);
  }, tab);
  await page.waitForTimeout(2000);
}

/** Where the flow is drawn, with a margin. */
const extentOf = (page: Page) =>
  page.evaluate((margin) => {
    const drawn = Array.from(
      document.querySelectorAll('#red-ui-workspace-chart :is(.red-ui-flow-node-group, .red-ui-flow-group)'),
    );
    const boxes = drawn.map((element) => element.getBoundingClientRect());
    const x = Math.min(...boxes.map((b) => b.left)) - margin;
    const y = Math.min(...boxes.map((b) => b.top)) - margin;
    const width = Math.max(...boxes.map((b) => b.right)) + margin - x;
    const height = Math.max(...boxes.map((b) => b.bottom)) + margin - y;
    return { x, y, width, height };
  }, 12);

if (require.main === module) {
  const [file, tab, url] = process.argv.slice(2);
  if (!file) throw new Error('name the file the picture goes to: npm run shots -- flow.png');
  shoot(file, tab, url).catch((cause) => {
    console.error(cause);
    process.exitCode = 1;
  });
}
