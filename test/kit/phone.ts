/** A real browser for the pages: Debian's Chromium, driven by playwright-core. */
import { readFileSync } from 'node:fs';
import { type Browser, type BrowserContext, chromium, type Page } from 'playwright-core';

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

/** A phone of the narrow kind. */
export const PHONE = { viewport: { width: 360, height: 740 }, hasTouch: true, isMobile: true } as const;

export const openBrowser = (): Promise<Browser> => chromium.launch({ executablePath: EXECUTABLE, args: ARGS });

export interface Violation {
  readonly id: string;
  readonly help: string;
  readonly nodes: readonly { readonly html: string }[];
}

const axeSource = readFileSync(require.resolve('axe-core/axe.min.js'), 'utf8');

/** What axe-core finds against WCAG 2.2 A and AA and its best practices; the page's own policy admits no foreign script otherwise. */
export async function violations(page: Page): Promise<readonly string[]> {
  const found = (await page.evaluate(`(async () => {
    const module = undefined, exports = undefined, define = undefined;
    ${axeSource}
    return (await window.axe.run(document)).violations;
  })()`)) as readonly Violation[];
  return found.map(({ id, help, nodes }) => `${id}: ${help}: ${nodes.map((n) => n.html).join(' | ')}`);
}

export type { Browser, BrowserContext, Page };
