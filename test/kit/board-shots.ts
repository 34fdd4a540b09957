/**
 * The pictures of the board in the README, from a running demo whose story is told: `npx tsx test/kit/board-shots.ts [FOLDER] [URL]`.
 * It acknowledges one alert there.
 */
import { join } from 'node:path';
import type { Page } from 'playwright-core';
import { launch } from './board-browser';

const WIDE = { width: 1280, height: 800 };

interface Shot {
  readonly file: string;
  readonly at: string;
  readonly height: number;
  readonly until: (page: Page) => Promise<void>;
}

const SHOTS: readonly Shot[] = [
  {
    file: 'board.png',
    at: '#alerts',
    height: 800,
    until: async (page) => {
      await page.getByLabel('You are').fill('Desk 2');
      await page.locator('.list-row', { hasText: 'OP-23' }).click();
      await page.getByText('What it rests on').waitFor();
      const acknowledge = page.getByRole('button', { name: 'Acknowledge' });
      if (await acknowledge.isVisible()) await acknowledge.click();
      await page.getByText('acknowledged', { exact: true }).first().waitFor();
    },
  },
  {
    file: 'site.png',
    at: '#site/quillmere/F7/R23',
    height: 900,
    until: (page) => page.getByText('Rotation:').waitFor(),
  },
  {
    file: 'feeder.png',
    at: '#feeder',
    height: 860,
    until: (page) => page.getByText(/^One change at/).waitFor(),
  },
  {
    file: 'plan.png',
    at: '#plan',
    height: 1040,
    until: (page) => page.getByRole('heading', { name: 'Work list' }).waitFor(),
  },
];

async function shoot(folder: string, url: string): Promise<void> {
  const browser = await launch();
  try {
    const page = await browser.newPage({ viewport: WIDE });
    for (const { file, at, height, until } of SHOTS) {
      await page.setViewportSize({ ...WIDE, height });
      await page.goto(`${url}${at}`);
      await until(page);
      await page.waitForTimeout(1500);
      await page.screenshot({ path: join(folder, file) });
    }
  } finally {
    await browser.close();
  }
}

const [folder = '.github', url = 'http://127.0.0.1:1880/phaseloom/'] = process.argv.slice(2);
shoot(folder, url).catch((cause) => {
  console.error(cause);
  process.exitCode = 1;
});
