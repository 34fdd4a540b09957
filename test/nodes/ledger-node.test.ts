import { existsSync, mkdirSync, readFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { expect } from 'chai';
import type { Trouble } from '../../nodes/kit/trouble';
import type { LedgerNode } from '../../nodes/ledger/ledger';
import { nodeRed, type Rig } from '../kit/node-red';
import { identification } from './ledger-samples';

const variable = (name: string) => `\${${name}}`;
const failureOf = (promise: Promise<unknown>): Promise<Trouble> =>
  promise.then(
    () => {
      throw new Error('it did not fail');
    },
    (cause) => cause as Trouble,
  );

describe('the ledger node', () => {
  let rig: Rig;
  before(async () => {
    rig = await nodeRed();
  });
  const ledgerNode = (id = 'ledger') => rig.node(id) as LedgerNode;
  const config = (id: string, more: object = {}) => ({ id, type: 'phaseloom-ledger', ...more });

  it('opens its file in the user directory when first asked, and not before', async () => {
    await rig.deploy([config('ledger', { file: 'first.sqlite' })]);
    const file = join(rig.userDir, 'first.sqlite');
    expect(ledgerNode().ledger).to.equal(undefined);
    expect(existsSync(file)).to.equal(false);
    const ledger = await ledgerNode().ready();
    expect(existsSync(file)).to.equal(true);
    expect(ledgerNode().ledger).to.equal(ledger);
    expect(ledger.label).to.equal('first.sqlite');
  });

  it('has a file without being told, and durability full', async () => {
    await rig.deploy([config('ledger')]);
    expect((await ledgerNode().ready()).label).to.equal('phaseloom.sqlite');
  });

  it('keeps what was stored over a deploy, and commits what is pending before it goes', async () => {
    const flow = [config('ledger', { file: 'kept.sqlite' })];
    await rig.deploy(flow);
    const before = await ledgerNode().ready();
    const kept = before.keep(identification('s/1', 0));
    await rig.deploy(flow);
    expect(await kept).to.deep.equal({ isNew: true });
    const after = await ledgerNode().ready();
    expect(after).not.to.equal(before);
    expect((await after.records({})).records).to.have.length(1);
    expect((await failureOf(before.keep(identification('s/2', 0)))).code).to.equal('ledger-closed');
  });

  it('stays open at a deploy until who uses it has let go: what that one finishes is stored', async () => {
    const flow = [config('ledger', { file: 'used.sqlite' })];
    await rig.deploy(flow);
    const ledger = await ledgerNode().ready();
    const letGo = ledgerNode().use();
    const deployed = rig.deploy(flow);
    await new Promise((resolve) => setTimeout(resolve, 100));
    expect(await ledger.keep(identification('s/1', 0))).to.deep.equal({ isNew: true });
    letGo();
    await deployed;
    expect((await failureOf(ledger.keep(identification('s/2', 0)))).code).to.equal('ledger-closed');
  });

  it('shares one ledger with another node of the same file', async () => {
    await rig.deploy([
      config('one', { file: 'shared.sqlite', durability: 'normal' }),
      config('two', { file: join(rig.userDir, 'shared.sqlite') }),
      config('three', { file: 'other.sqlite' }),
    ]);
    const [one, two, three] = await Promise.all(['one', 'two', 'three'].map((id) => ledgerNode(id).ready()));
    expect(one).to.equal(two);
    expect(one).not.to.equal(three);
  });

  it('takes its file from the environment', async () => {
    process.env.PHASELOOM_TEST_FILE = 'from-env';
    await rig.deploy([config('ledger', { file: variable('PHASELOOM_TEST_FILE') })]);
    expect((await ledgerNode().ready()).label).to.equal('from-env');
    delete process.env.PHASELOOM_TEST_FILE;
  });

  for (const [what, settings, told] of [
    ['an empty file name', { file: ' ' }, 'the ledger has no file: give a file name such as phaseloom.sqlite'],
    ['a file of an unset variable', { file: variable('PHASELOOM_NOT_SET') }, /has no file|which is not set/],
    [
      'an unknown durability',
      { durability: 'none' },
      'the durability of the ledger is "none"; right would be full or normal',
    ],
    [
      'a folder that does not exist',
      { file: 'no/such/folder.sqlite' },
      'does not exist; create it, or name a file in one that does',
    ],
  ] as const) {
    it(`with ${what} is deployed, and says what is wrong when it is asked`, async () => {
      await rig.deploy([config('ledger', settings)]);
      const { message } = await failureOf(ledgerNode().ready());
      if (typeof told === 'string') expect(message).to.contain(told);
      else expect(message).to.match(told);
      expect(ledgerNode().ledger).to.equal(undefined);
    });
  }

  it('opens later when what was wrong is put right', async () => {
    await rig.deploy([config('ledger', { file: 'later/ledger.sqlite' })]);
    await failureOf(ledgerNode().ready());
    mkdirSync(join(rig.userDir, 'later'));
    await failureOf(ledgerNode().ready());
    await new Promise((r) => setTimeout(r, 1100));
    expect((await (await ledgerNode().ready()).health()).ok).to.equal(true);
  });

  it('has gone when it is no longer in the flow', async () => {
    await rig.deploy([config('ledger', { file: 'gone.sqlite' })]);
    const node = ledgerNode();
    await node.ready();
    await rig.deploy([]);
    expect((await failureOf(node.ready())).code).to.equal('ledger-closed');
    expect(node.ledger).to.equal(undefined);
  });
});

describe('the editor of the ledger nodes', () => {
  for (const name of ['ledger', 'ledger-query']) {
    const folder = resolve(__dirname, `../../nodes/${name}`);
    const type = `phaseloom-${name}`;
    const html = readFileSync(join(folder, `${type}.html`), 'utf8');
    const catalogue = JSON.parse(readFileSync(join(folder, `locales/en-US/${type}.json`), 'utf8'));
    const runtime = readFileSync(join(folder, `${type}.ts`), 'utf8');

    it(`${type}: every text is in the catalogue, and the catalogue has no other`, () => {
      const known = keysOf(catalogue);
      const inHtml = [...html.matchAll(/data-i18n="(?:\[\w+\])?([^"]+)"/g)].map((m) => m[1]!);
      const inScript = [...html.matchAll(/this\._\('([\w.-]+)'( \+ )?/g)].map((m) => ({
        key: m[1]!,
        isPrefix: Boolean(m[2]),
      }));
      // Texts that the shared script of the dialogs looks up: reasons of wrong settings, the label, the ports.
      const byScript = [
        ...[...html.matchAll(/phaseloom\.(?:oneOf|that)\([\s\S]*?, '(\w+)'\)/g)].map((m) => `error.${m[1]}`),
        ...[...html.matchAll(/reason: '(\w+)'/g)].map((m) => `error.${m[1]}`),
        ...['label.node', 'port.input', 'port.output'].filter((key) => known.includes(`${type}.${key}`)),
      ].map((key) => ({ key: `${type}.${key}`, isPrefix: false }));
      const used = [...inHtml.map((key) => ({ key, isPrefix: false })), ...inScript].filter(
        (u) => !u.key.startsWith('node-red:'),
      );
      const status = [...runtime.matchAll(/told\('(\w+)'\)/g)].map((m) => ({
        key: `${type}.status.${m[1]}`,
        isPrefix: false,
      }));
      const all = [...used, ...status, ...byScript];
      for (const { key, isPrefix } of all) {
        expect(
          known.some((k) => (isPrefix ? k.startsWith(key) : k === key)),
          key,
        ).to.equal(true);
      }
      expect(known.filter((k) => !all.some((u) => (u.isPrefix ? k.startsWith(u.key) : u.key === k)))).to.deep.equal([]);
    });

    it(`${type}: every field has a label, and no text stands outside the catalogue`, () => {
      const fields = [...html.matchAll(/<(?:input(?![^>]*type="hidden")|select)[^>]* id="([^"]+)"/g)].map((m) => m[1]);
      const labelled = [...html.matchAll(/<label for="([^"]+)"/g)].map((m) => m[1]);
      expect(labelled.sort()).to.deep.equal(fields.sort());
      const template = html.slice(html.indexOf('>') + 1, html.indexOf('</script>'));
      expect(template.replace(/<[^>]*>/g, '').trim()).to.equal('');
    });
  }
});

function keysOf(tree: object, prefix = ''): string[] {
  return Object.entries(tree).flatMap(([key, value]) =>
    typeof value === 'object' ? keysOf(value, `${prefix}${key}.`) : [`${prefix}${key}`],
  );
}
