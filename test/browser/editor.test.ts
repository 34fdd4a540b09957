/**
 * Every node of the pack in the editors of Node-RED 5, light and dark, and 4.1, whose own theme is light: dragged from the palette,
 * opened, gone through with the Tab key, set up, deployed, exported and imported again, all with mouse and keyboard.
 */
import { readFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { expect } from 'chai';
import type { Locator, Page } from 'playwright-core';
import { atRest, type Editor, openEditor } from '../kit/editor';

const ROOT = resolve(__dirname, '../..');
const CONFIG = ['ledger', 'frame', 'reference', 'network', 'board'].map((name) => `phaseloom-${name}`);
const TYPES = Object.keys(JSON.parse(readFileSync(join(ROOT, 'package.json'), 'utf8'))['node-red'].nodes).filter(
  (type) => !CONFIG.includes(type),
);
/** Pictures of each dialog go there when it is set. */
const SHOTS = process.env.PHASELOOM_SHOTS;

// biome-ignore lint/suspicious/noExplicitAny: the editor's own global, without published types
declare const RED: any;

const NETWORK = `id,site,position,recordedPhase,nominalV
S118/1,S118,1,A,12470
S118/2,S118,2,B,12470
S118/3,S118,3,C,12470
R17/1,R17,1,A,12470
R17/2,R17,2,B,12470
R17/3,R17,3,C,12470

openPoint,left,right
S118-R17,S118/1,R17/1
S118-R17,S118/2,R17/2
S118-R17,S118/3,R17/3`;

/** What a user types and chooses; a config node is chosen as the first there is. */
const SETTINGS: Record<string, Record<string, string>> = {
  'phaseloom-ledger': { name: 'archive', file: 'archive.sqlite' },
  'phaseloom-reference': { referenceId: 'SUB-1', terminal: 'SUB/1' },
  'phaseloom-frame': { frameId: 'local', phase1: 'L1', phase2: 'L2', phase3: 'L3' },
  'phaseloom-board': { path: '/seen', ledger: '*' },
  'phaseloom-ledger-query': { ledger: '*', limit: '50' },
  'phaseloom-readings-in': { name: 'front door', ledger: '*', network: '*' },
  'phaseloom-synchrophasor-in': {
    transport: 'udp',
    localPort: '47130',
    'phaseloom-channels': '7; VA; S118/1; phase-to-earth; 0',
  },
  'phaseloom-phasor-from-samples': { nominalHz: '50' },
  'phaseloom-screen': { frame: '*', network: '*', batteryLowPct: '15' },
  'phaseloom-phase-id': { frame: '*', network: '*', combineS: '30' },
  'phaseloom-rotation': { frame: '*', network: '*', windowS: '200' },
  'phaseloom-tie-check': { frame: '*', network: '*', band: '15' },
  'phaseloom-feeder-trace': { frame: '*', network: '*', gatherS: '2' },
  'phaseloom-load-plan': { source: 'message', moves: '3' },
  'phaseloom-alert-desk': { ledger: '*', perMinute: '30' },
  'phaseloom-handoff': { ledger: '*', destination: 'gis', url: 'http://127.0.0.1:9/' },
  'phaseloom-metrics': { name: 'figures' },
};

/** Status each runtime node shows when it was deployed and nothing came yet; most stand ready and say so. */
const NO_STATUS = ['phaseloom-metrics', 'phaseloom-ledger-query', 'phaseloom-handoff'];

const EDITORS = [
  { version: 'node-red', theme: 'light', locale: 'en-US' },
  { version: 'node-red', theme: 'dark', locale: 'de-DE' },
  { version: 'node-red-4', theme: 'light', locale: 'en-US' },
] as const;

async function fill(page: Page, dialog: Locator, type: string): Promise<void> {
  const prefix = CONFIG.includes(type) ? 'node-config-input' : 'node-input';
  for (const [property, value] of Object.entries(SETTINGS[type] ?? {})) {
    const field = dialog.locator(`[id="${prefix}-${property}"]`);
    const isChoice = (await field.evaluate((element) => element.tagName)) === 'SELECT';
    if (!isChoice) await field.fill(value);
    else if (value !== '*') await field.selectOption(value);
    else await field.selectOption({ index: 0 });
  }
  await page.keyboard.press('Tab');
}

/** Fields that can be seen and have no name an assistive program could say. */
const unnamed = (dialog: Locator) =>
  dialog.evaluate((tray) =>
    Array.from(tray.querySelectorAll<HTMLElement>('.phaseloom-form .form-row :is(input, select, textarea, button)'))
      .filter((field) => field.getClientRects().length > 0 && !field.closest('.red-ui-typedInput-container'))
      .filter((field) => {
        const labels = Array.from((field as HTMLInputElement).labels ?? [], (label) => label.textContent?.trim());
        const own = field.getAttribute('aria-label') || field.getAttribute('title') || field.textContent?.trim();
        const isEditorsOwn = /^node-(config-)?input-(btn|lookup)-/.test(field.id);
        return !isEditorsOwn && !labels.some((text) => text) && !own;
      })
      .map((field) => field.id || field.outerHTML.slice(0, 80)),
  );

/** Visible fields of the form that the Tab key does not come to. */
async function outOfReach(page: Page, dialog: Locator): Promise<string[]> {
  const ids = await dialog.evaluate((tray) =>
    Array.from(tray.querySelectorAll<HTMLElement>('.phaseloom-form .form-row :is(input, select, textarea)'))
      .filter((field) => field.id && field.getClientRects().length > 0 && field.tabIndex >= 0)
      .map((field) => field.id),
  );
  const reached = new Set<string>();
  await dialog.locator('.phaseloom-form .form-row :is(input, select)').first().focus();
  for (let i = 0; i < ids.length + 45 && reached.size < ids.length; i++) {
    const id = await page.evaluate(() => document.activeElement?.id ?? '');
    if (ids.includes(id)) reached.add(id);
    await page.keyboard.press('Tab');
  }
  return ids.filter((id) => !reached.has(id));
}

/** What is exported, imported in its stead, and exported again. */
const exportedTwice = (page: Page, id: string) =>
  page.evaluate((it) => {
    const [first] = RED.nodes.createExportableNodeSet([RED.nodes.node(it)]);
    RED.nodes.remove(it);
    RED.nodes.import([first]);
    const [second] = RED.nodes.createExportableNodeSet([RED.nodes.node(it)]);
    RED.view.redraw(true);
    return { first, second };
  }, id);

for (const choice of EDITORS) {
  describe(`the editor of ${choice.version} in a browser, ${choice.theme}, ${choice.locale}`, function () {
    this.timeout(180_000);
    let editor: Editor;
    let page: Page;
    const made = new Map<string, string>();

    before(async () => {
      editor = await openEditor(choice);
      page = editor.page;
    });
    afterEach(async () => {
      await editor.cancelAll();
      expect(editor.troubles.splice(0)).to.deep.equal([]);
    });
    after(() => editor?.stop());

    async function lookAt(type: string): Promise<Locator> {
      const dialog = await atRest(page);
      if (SHOTS)
        await dialog.screenshot({
          path: join(SHOTS, `${choice.version}-${choice.theme}-${choice.locale}-${type}.png`),
        });
      // A text that is missing in the catalogue shows as its key.
      expect(await dialog.locator('.phaseloom-form').textContent()).to.not.match(/phaseloom-[a-z-]+\.[a-z]+/);
      expect(await unnamed(dialog)).to.deep.equal([]);
      expect(await outOfReach(page, dialog)).to.deep.equal([]);
      return dialog;
    }

    it('config nodes: from the plus beside a field', async () => {
      const id = await editor.drop('phaseloom-tie-check', 300, 120);
      await editor.openNode(id);
      for (const [property, type] of [
        ['ledger', 'phaseloom-ledger'],
        ['network', 'phaseloom-network'],
        ['frame', 'phaseloom-frame'],
      ] as const) {
        await page.locator(`[id="node-input-btn-${property}-add"]`).click();
        const dialog = await lookAt(type);
        if (type === 'phaseloom-network') {
          await dialog.locator('#node-config-input-document').fill(NETWORK);
        } else if (type === 'phaseloom-frame') {
          await page.locator('[id="node-config-input-btn-reference-add"]').click();
          await fill(page, await lookAt('phaseloom-reference'), 'phaseloom-reference');
          await editor.done();
          await fill(page, dialog, type);
        } else await fill(page, dialog, type);
        await editor.done();
      }
      await editor.done();
      const invalid = await page.evaluate(() => {
        const wrong: string[] = [];
        RED.nodes.eachConfig((n: { valid: boolean; type: string; validationErrors?: string[] }) => {
          RED.editor.validateNode(n);
          if (!n.valid) wrong.push(`${n.type}: ${n.validationErrors?.join('; ')}`);
        });
        return wrong;
      });
      expect(invalid).to.deep.equal([]);
      await page.evaluate((it) => {
        RED.nodes.remove(it);
        RED.view.redraw(true);
      }, id);
    });

    for (const [place, type] of TYPES.entries()) {
      it(`${type}: drop, open, tab through, set up, export and import again`, async () => {
        const id = await editor.drop(type, 220 + 240 * (place % 2), 60 + 50 * Math.floor(place / 2));
        made.set(type, id);
        await editor.openNode(id);
        await fill(page, await lookAt(type), type);
        await editor.done();
        const state = await page.evaluate((it) => {
          const node = RED.nodes.node(it);
          return { valid: node.valid, why: (node.validationErrors ?? []).join('; ') };
        }, id);
        expect(state).to.deep.equal({ valid: true, why: '' });
        const { first, second } = await exportedTwice(page, id);
        expect(second).to.deep.equal(first);
        for (const [property, value] of Object.entries(SETTINGS[type] ?? {}))
          if (property in first && value !== '*') expect(String(first[property]), property).to.equal(value);
      });

      it(`${type}: face`, async () => {
        const face = await page.evaluate((name) => {
          const def = RED.nodes.getType(name);
          const text = (label: unknown, i: number) => (typeof label === 'function' ? label.call(def, i) : undefined);
          const labels = (label: unknown, n: number) => Array.from({ length: n }, (_, i) => text(label, i));
          const { category, color, icon, align, outputs } = def;
          const ports = [...labels(def.inputLabels, def.inputs), ...labels(def.outputLabels, outputs)];
          return {
            category,
            color,
            icon,
            align,
            outputs,
            ports,
            palette: RED.utils.getPaletteLabel(name, def),
            button: 'button' in def,
          };
        }, type);
        expect(face.category).to.equal('phaseloom');
        expect(face.color).to.equal('#9DBDB8');
        expect(face.icon).to.match(/^font-awesome\/fa-/);
        expect(face.button).to.equal(false);
        expect(face.palette).to.not.match(/phaseloom/);
        expect(new Set(face.ports).size, face.ports.join(', ')).to.equal(face.ports.length);
        for (const label of face.ports) expect(label).to.match(/^[^.]+$/);
        if (face.outputs === 0 || type === 'phaseloom-handoff') expect(face.align).to.equal('right');
      });
    }

    it('board: from the list of config nodes', async () => {
      await page.evaluate(() => RED.editor.editConfig('', 'phaseloom-board', '_ADD_', '', undefined));
      await fill(page, await lookAt('phaseloom-board'), 'phaseloom-board');
      await editor.done();
    });

    it('deploys for real: the runtime takes it, no type is missing, status is short', async () => {
      await editor.deploy();
      await page.waitForFunction(
        (ids) => ids.every((id: string) => RED.nodes.node(id).status?.text !== undefined),
        [...made].filter(([type]) => !NO_STATUS.includes(type)).map(([, id]) => id),
      );
      const shown: Record<string, { fill?: string; text?: string }> = await page.evaluate(
        (ids) => Object.fromEntries(ids.map(([type, id]: [string, string]) => [type, RED.nodes.node(id).status ?? {}])),
        [...made] as [string, string][],
      );
      for (const [type, status] of Object.entries(shown)) {
        const text = status.text ?? '';
        expect(text.length, `${type}: ${text}`).to.be.lessThan(20);
        // Nobody answers at the address, and the network has no feeder: their nodes say so.
        if (!['phaseloom-handoff', 'phaseloom-feeder-trace'].includes(type))
          expect(status.fill, `${type}: ${text}`).to.not.equal('red');
      }
      const answer = await fetch(`${editor.url}flows`, { headers: { 'Node-RED-API-Version': 'v2' } });
      const stored = ((await answer.json()) as { flows: { type: string }[] }).flows.map((node) => node.type);
      for (const type of [...TYPES, ...CONFIG]) expect(stored).to.include(type);
      if (SHOTS) await page.screenshot({ path: join(SHOTS, `${choice.version}-${choice.theme}-${choice.locale}.png`) });
    });

    /** One wrong setting each, and what its reason must name. */
    const WRONG: [type: string, setting: string, value: unknown, says: RegExp][] = [
      ['phaseloom-screen', 'batteryLowPct', '101', /0 .* 100/],
      ['phaseloom-screen', 'futureToleranceS', '', /0 .* 86400/],
      ['phaseloom-phase-id', 'waitS', 'soon', /0 .* 60/],
      ['phaseloom-rotation', 'terminal1', 'S1/1', /three|network|drei|Netz/i],
      ['phaseloom-tie-check', 'toleranceDeg', 0, /0\.1 .* 60/],
      ['phaseloom-readings-in', 'topics', ['a/#/b'], /a\/#\/b/],
      ['phaseloom-readings-in', 'mapping', '{"terminal":', /JSONata/],
      ['phaseloom-synchrophasor-in', 'channels', [{ pmu: 'A' }], /1/],
      ['phaseloom-alert-desk', 'perMinute', '0', /1 .* 100000/],
      ['phaseloom-handoff', 'url', 'ftp://here', /http/],
    ];

    it('a wrong setting makes a node invalid and says what would be right', async () => {
      for (const [type, setting, value, says] of WRONG) {
        const found = await page.evaluate(
          ([name, key, wrong]) => {
            const { node } = RED.view.createNode(name, 200, 200);
            RED.nodes.add(node);
            const [one] = RED.nodes.createExportableNodeSet([node]);
            RED.nodes.remove(node.id);
            RED.nodes.import([{ ...one, [key as string]: wrong }]);
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
}
