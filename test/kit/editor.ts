/** The editor of a Node-RED of its own, 5 or 4.1, in Debian's Chromium, and what a user does in it. */
import { type ChildProcess, spawn } from 'node:child_process';
import { once } from 'node:events';
import { rmSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import type { Browser, Locator, Page } from 'playwright-core';
import { launch } from './board-browser';
import { freePort } from './broker';
import { makeUserDir } from './node-red';

const ROOT = resolve(__dirname, '../..');

// biome-ignore lint/suspicious/noExplicitAny: the editor's own global, without published types
declare const RED: any;

export interface EditorChoice {
  readonly version: 'node-red' | 'node-red-4';
  /** the dark one is Node-RED 5's own; 4.1 brings none */
  readonly theme: 'light' | 'dark';
  readonly locale: 'en-US' | 'de-DE';
}

export interface Editor {
  readonly page: Page;
  readonly url: string;
  readonly userDir: string;
  /** exceptions of the page since last asked */
  readonly troubles: string[];
  /** a node from the palette to the workspace, with the mouse */
  drop(type: string, x: number, y: number): Promise<string>;
  /** double click on a node, and its dialog when it has come to rest */
  openNode(id: string): Promise<Locator>;
  /** Done, or Add or Update in the dialog of a config node */
  done(): Promise<void>;
  /** closes whatever dialogs a failed test left open */
  cancelAll(): Promise<void>;
  /** clicks Deploy and waits for the runtime to have taken it */
  deploy(): Promise<void>;
  stop(): Promise<void>;
}

const SETTINGS = (port: number, userDir: string) => `module.exports = {
  uiHost: '127.0.0.1', uiPort: ${port}, userDir: ${JSON.stringify(userDir)}, flowFile: 'flows.json', credentialSecret: 'test',
  editorTheme: { tours: false, palette: { allowInstall: false }, codeEditor: { lib: 'monaco' } },
  externalModules: { autoInstall: false }, telemetry: { enabled: false, updateNotification: false },
  logging: { console: { level: 'fatal', metrics: false, audit: false } }
};`;

export async function openEditor({ version, theme, locale }: EditorChoice): Promise<Editor> {
  const port = await freePort();
  const userDir = makeUserDir();
  writeFileSync(join(userDir, 'settings.js'), SETTINGS(port, userDir));
  const child = spawn(
    process.execPath,
    [join(ROOT, 'node_modules', version, 'red.js'), '-s', join(userDir, 'settings.js')],
    { stdio: 'ignore' },
  );
  let browser: Browser | undefined;
  const stop = async () => {
    await browser?.close();
    await gone(child);
    rmSync(userDir, { recursive: true, force: true });
  };
  try {
    const url = `http://127.0.0.1:${port}/`;
    await up(url);
    browser = await launch();
    const context = await browser.newContext({ viewport: { width: 1440, height: 1000 }, locale });
    const page = await context.newPage();
    page.setDefaultTimeout(40_000);
    const troubles: string[] = [];
    page.on('pageerror', (error) => troubles.push(String(error)));
    // tsx names functions by a helper that the page does not have.
    await page.addInitScript('globalThis.__name = (f) => f');
    if (theme === 'dark') await page.addInitScript("localStorage.setItem('view-dark-theme', 'dark')");
    await page.goto(url);
    await settle(page);
    return { page, url, userDir, troubles, stop, ...handsOn(page) };
  } catch (cause) {
    await stop();
    throw cause;
  }
}

async function up(url: string): Promise<void> {
  for (let i = 0; i < 160; i++) {
    const answer = await fetch(`${url}nodes`, { headers: { accept: 'application/json' } }).catch(() => undefined);
    if (answer?.ok) return;
    await new Promise((r) => setTimeout(r, 250));
  }
  throw new Error('Node-RED did not come up');
}

async function gone(child: ChildProcess): Promise<void> {
  if (child.exitCode !== null || child.signalCode !== null) return;
  const exit = once(child, 'exit');
  child.kill('SIGKILL');
  await exit;
}

/** All nodes are there. The tour and the question about telemetry, which would lie over everything, are off by the settings. */
async function settle(page: Page): Promise<void> {
  await page.waitForFunction(() => RED?.workspaces?.active?.() && RED.nodes.getType('phaseloom-board'));
  await page.waitForSelector('#red-ui-loading-progress', { state: 'hidden' });
}

function handsOn(page: Page): Pick<Editor, 'drop' | 'openNode' | 'done' | 'cancelAll' | 'deploy'> {
  return {
    async drop(type, x, y) {
      const known = await idsOf(page);
      // On a busy machine the palette may not yet have taken its mouse handlers.
      for (let attempt = 0; attempt < 3; attempt++) {
        await drag(page, page.locator(`.red-ui-palette-node[data-palette-type="${type}"]`), x, y);
        const made = (await idsOf(page)).filter((id) => !known.includes(id));
        if (made.length === 1) return made[0]!;
        await page.waitForTimeout(1000);
      }
      throw new Error(`${type}: dragging it into the workspace made no node`);
    },
    async openNode(id) {
      await page.locator(`.red-ui-flow-node-group[id="${id}"]`).dblclick({ position: { x: 60, y: 15 } });
      return atRest(page);
    },
    async done() {
      // The dialog underneath comes back with a button of its own, so it is this very button that must go.
      const ok = (await page.locator('#node-config-dialog-ok, #node-dialog-ok').last().elementHandle())!;
      await ok.click();
      await page.waitForFunction((button) => !button.isConnected, ok);
      await page.waitForTimeout(300);
    },
    async cancelAll() {
      const cancel = page.locator('#node-config-dialog-cancel, #node-dialog-cancel');
      while ((await cancel.count()) > 0) {
        await cancel.last().click();
        await page.waitForTimeout(400);
      }
    },
    async deploy() {
      const answered = page.waitForResponse((r) => r.url().endsWith('/flows') && r.request().method() === 'POST');
      await page.locator('#red-ui-header-button-deploy').click();
      const answer = await answered;
      if (!answer.ok()) throw new Error(`deploy: ${answer.status()} ${await answer.text()}`);
    },
  };
}

const idsOf = (page: Page): Promise<string[]> =>
  page.evaluate(() => RED.nodes.filterNodes({}).map((n: { id: string }) => n.id));

async function drag(page: Page, from: Locator, x: number, y: number): Promise<void> {
  await from.scrollIntoViewIfNeeded();
  const chart = (await page.locator('#red-ui-workspace-chart').boundingBox())!;
  const box = (await from.boundingBox())!;
  await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
  await page.mouse.down();
  await page.mouse.move(chart.x + x - 40, chart.y + y - 20, { steps: 6 });
  await page.mouse.move(chart.x + x, chart.y + y, { steps: 3 });
  await page.mouse.up();
}

/** The topmost dialog, once it no longer slides. */
export async function atRest(page: Page): Promise<Locator> {
  await page.locator('#node-config-dialog-ok, #node-dialog-ok').last().waitFor({ state: 'visible' });
  await page.waitForTimeout(400);
  return page.locator('.red-ui-tray').last();
}
