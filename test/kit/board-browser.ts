/** A page of the board in Debian's Chromium, watched: what goes wrong, what it asks others for, how much comes over the line. */
import { type Browser, chromium, type Page } from 'playwright-core';

const EXECUTABLE = process.env.CHROMIUM ?? '/usr/bin/chromium';
const ARGS = [
  '--no-sandbox',
  '--disable-gpu',
  '--disable-dev-shm-usage',
  '--no-first-run',
  '--disable-background-networking',
  '--disable-component-update',
  '--disable-sync',
];

export const launch = (): Promise<Browser> => chromium.launch({ executablePath: EXECUTABLE, args: ARGS });

export interface Seen {
  readonly page: Page;
  /** exceptions, console errors, requests to anywhere but the board */
  readonly troubles: string[];
  readonly bytes: () => number;
}

export async function open(
  browser: Browser,
  url: string,
  width: number,
  theme: 'light' | 'dark' = 'light',
  /** the clock of the page can be moved on */
  hasClock = false,
): Promise<Seen> {
  const context = await browser.newContext({ viewport: { width, height: 900 }, colorScheme: theme, locale: 'en-GB' });
  const page = await context.newPage();
  if (hasClock) await page.clock.install();
  page.setDefaultTimeout(15_000);
  const troubles: string[] = [];
  let bytes = 0;
  page.on('pageerror', (e) => troubles.push(e.message));
  page.on('console', (m) => m.type() === 'error' && troubles.push(`${m.text()} ${m.location().url}`));
  page.on('request', (r) => {
    const isOwn = new URL(r.url()).origin === new URL(url).origin;
    if (!isOwn && !/^(data|blob):/.test(r.url())) troubles.push(`asked ${r.url()}`);
  });
  const line = await context.newCDPSession(page);
  await line.send('Network.enable');
  line.on('Network.loadingFinished', (e) => {
    bytes += e.encodedDataLength;
  });
  await page.goto(url);
  return { page, troubles, bytes: () => bytes };
}
