/** What every page of the board is held to: accessibility by axe-core with the rules of WCAG 2.0 to 2.2, levels A and AA, and its width. */
import { mkdirSync, readFileSync } from 'node:fs';
import type { Page } from 'playwright-core';

const AXE = readFileSync(require.resolve('axe-core/axe.min.js'), 'utf8');
const RULES = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'];
/** Pictures of each page go there when it is set. */
const SHOTS = process.env.PHASELOOM_SHOTS;

export async function accessibilityViolations(page: Page): Promise<string[]> {
  await page.evaluate(`${AXE}; 0`);
  return (await page.evaluate(
    `axe.run({ runOnly: ${JSON.stringify(RULES)} }).then((r) => r.violations.map((v) => v.id + ' ' + v.nodes.map((n) => n.html.slice(0, 120) + ' ' + n.failureSummary.slice(0, 200)).join(' | ')))`,
  )) as string[];
}

/** Pixels by which the page would scroll sideways. */
export const widthBeyondScreen = async (page: Page): Promise<number> =>
  (await page.evaluate('document.documentElement.scrollWidth - innerWidth')) as number;

export async function picture(page: Page, name: string, isWhole: boolean): Promise<void> {
  if (!SHOTS) return;
  mkdirSync(SHOTS, { recursive: true });
  await page.screenshot({ path: `${SHOTS}/${name}.png`, fullPage: isWhole });
}
