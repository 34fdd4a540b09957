/** The editor of Node-RED 5 in Chromium: every node of the palette from there to its dialog and back. */
import { type ChildProcess, spawn } from 'node:child_process';
import { once } from 'node:events';
import { readFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { expect } from 'chai';
import type { Browser, Page } from 'playwright-core';
import { launch } from '../kit/board-browser';
import { freePort } from '../kit/broker';
import { makeUserDir } from '../kit/node-red';

const ROOT = resolve(__dirname, '../..');
const CONFIG = ['ledger', 'frame', 'reference', 'network', 'board'].map((name) => `phaseloom-${name}`);
const TYPES = Object.keys(JSON.parse(readFileSync(join(ROOT, 'package.json'), 'utf8'))['node-red'].nodes).filter(
  (type) => !CONFIG.includes(type),
);
/** Pictures of each dialog go there when it is set. */
const SHOTS = process.env.PHASELOOM_SHOTS;

// biome-ignore lint/suspicious/noExplicitAny: the editor's own global, without published types
declare const RED: any;

async function up(url: string): Promise<void> {
  for (let i = 0; i < 160; i++) {
    const answer = await fetch(`${url}/nodes`, { headers: { accept: 'application/json' } }).catch(() => undefined);
    if (answer?.ok) return;
    await new Promise((r) => setTimeout(r, 250));
  }
  throw new Error('Node-RED did not come up');
}

/** Its configuration: the editor moves a node to its grid, and writes a config node not chosen as ''. */
const config = (node: Record<string, unknown>) =>
  Object.fromEntries(
    Object.entries(node)
      .filter(([key]) => !['x', 'y'].includes(key))
      .map(([key, value]) => [key, value ?? '']),
  );

describe('the editor in a browser', function () {
  this.timeout(60_000);
  let child: ChildProcess;
  let browser: Browser;
  let page: Page;
  const troubles: string[] = [];

  before(async () => {
    const port = await freePort();
    const red = join(ROOT, 'node_modules/node-red/red.js');
    child = spawn(
      process.execPath,
      [
        red,
        '-u',
        makeUserDir(),
        '-p',
        String(port),
        '-D',
        'uiHost=127.0.0.1',
        '-D',
        'editorTheme={"tours":false}',
        '-D',
        'telemetry={"enabled":false}',
      ],
      {
        stdio: 'ignore',
      },
    );
    await up(`http://127.0.0.1:${port}`);
    browser = await launch();
    page = await browser.newPage({ viewport: { width: 1440, height: 1000 } });
    page.on('pageerror', (error) => troubles.push(String(error)));
    await page.addInitScript('globalThis.__name = (f) => f');
    await page.goto(`http://127.0.0.1:${port}/`);
    await page.waitForFunction(() => RED?.workspaces?.active?.() && RED.nodes.getType('phaseloom-board'));
    await page.waitForSelector('#red-ui-loading-progress', { state: 'hidden' });
    await page.keyboard.press('Escape');
  });
  afterEach(() => expect(troubles.splice(0)).to.deep.equal([]));
  after(async () => {
    await browser?.close();
    if (child && child.exitCode === null) {
      const gone = once(child, 'exit');
      child.kill('SIGKILL');
      await gone;
    }
  });

  for (const type of TYPES) {
    it(`${type}: palette, labels, Done keeps the defaults, export and import agree`, async () => {
      const made = await page.evaluate((name) => {
        const { node } = RED.view.createNode(name, 200, 200);
        RED.nodes.add(node);
        const def = RED.nodes.getType(name);
        const [before] = RED.nodes.createExportableNodeSet([node]);
        RED.editor.edit(node);
        return { id: node.id, before, category: def.category, color: def.color, icon: def.icon };
      }, type);
      expect(made.category).to.equal('phaseloom');
      expect(made.color).to.equal('#C9D5D3');
      expect(made.icon).to.match(/^font-awesome\/fa-/);
      expect(await page.locator(`.red-ui-palette-node[data-palette-type="${type}"]`).count()).to.equal(1);
      await page.waitForSelector('#node-dialog-ok', { state: 'visible' });
      await page.waitForTimeout(350);
      if (SHOTS) await page.screenshot({ path: join(SHOTS, `${type}.png`) });
      const text = await page.locator('#dialog-form').textContent();
      expect(text).to.not.match(/phaseloom-[a-z-]+\.[a-z]+/);
      await page.locator('#node-dialog-ok').dispatchEvent('click');
      await page.waitForSelector('#node-dialog-ok', { state: 'detached' });
      const result = await page.evaluate((id) => {
        const [after] = RED.nodes.createExportableNodeSet([RED.nodes.node(id)]);
        RED.nodes.remove(id);
        RED.nodes.import([after]);
        const [again] = RED.nodes.createExportableNodeSet([RED.nodes.node(id)]);
        RED.nodes.remove(id);
        return { after, again };
      }, made.id);
      expect(config(result.after)).to.deep.equal(config(made.before));
      expect(config(result.again)).to.deep.equal(config(result.after));
    });
  }

  /** One wrong setting each; a text stands for what the reason must name. */
  const WRONG: [type: string, setting: string, value: unknown, says: RegExp][] = [
    ['phaseloom-screen', 'batteryLowPct', '101', /0 to 100/],
    ['phaseloom-screen', 'futureToleranceS', '', /0 to 86400/],
    ['phaseloom-phase-id', 'waitS', 'soon', /0 to 60/],
    ['phaseloom-rotation', 'terminal1', 'S1/1', /three|network/i],
    ['phaseloom-tie-check', 'toleranceDeg', 0, /0\.1 to 60/],
    ['phaseloom-readings-in', 'topics', ['a/#/b'], /a\/#\/b/],
    ['phaseloom-readings-in', 'mapping', '{"terminal":', /./],
    ['phaseloom-synchrophasor-in', 'channels', [{ pmu: 'A' }], /1/],
    ['phaseloom-alert-desk', 'perMinute', '0', /./],
    ['phaseloom-handoff', 'url', 'ftp://here', /http/],
  ];

  it('a wrong setting makes a node invalid and says what would be right', async () => {
    for (const [type, setting, value, says] of WRONG) {
      const found = await page.evaluate(
        ([name, key, wrong]) => {
          const { node } = RED.view.createNode(name, 200, 200);
          RED.nodes.add(node);
          const [made] = RED.nodes.createExportableNodeSet([node]);
          RED.nodes.remove(node.id);
          RED.nodes.import([{ ...made, [key as string]: wrong }]);
          const back = RED.nodes.node(node.id);
          RED.editor.validateNode(back);
          const { valid, validationErrors } = back;
          RED.nodes.remove(node.id);
          return { valid, why: (validationErrors as string[]).join('; ') };
        },
        [type, setting, value] as const,
      );
      expect(found.valid, type).to.equal(false);
      expect(found.why, `${type} ${setting}`).to.match(says);
    }
  });

  it('each check of a setting can give its reason: the editor takes one only from a function of two arguments', async () => {
    const silent = await page.evaluate(
      (types) =>
        types.flatMap((type) =>
          Object.entries(RED.nodes.getType(type).defaults as Record<string, { validate?: () => unknown }>)
            .filter(([, { validate }]) => validate && validate.length !== 2)
            .map(([key]) => `${type}.${key}`),
        ),
      [...TYPES, ...CONFIG],
    );
    expect(silent).to.deep.equal([]);
  });
});
