// The German locale against the English one: same keys, same placeholders. The outside measure is the en-US text of each node.
import assert from 'node:assert/strict';
import { existsSync, globSync, readFileSync } from 'node:fs';
import { IDENTIFICATION_CAUTION } from '../../lib/identification-record';
import { COMPARISON_CAUTION } from '../../lib/open-point';
import { ROTATION_CAUTION } from '../../lib/site-rotation';

type Texts = { [key: string]: string | Texts };

const read = (file: string): Texts => JSON.parse(readFileSync(file, 'utf8'));

/** Every text of a catalogue by its dotted key. */
const flat = (texts: Texts, at = ''): [string, string][] =>
  Object.entries(texts).flatMap(([key, value]): [string, string][] =>
    typeof value === 'string' ? [[`${at}${key}`, value]] : flat(value, `${at}${key}.`),
  );

const placeholders = (text: string) => (text.match(/__\w+?__/g) ?? []).sort();

const english = globSync('nodes/*/locales/en-US/*.json').sort();

describe('German locale', () => {
  it('has nodes to look at', () => assert.ok(english.length >= 18, `${english.length} catalogues`));

  for (const from of english) {
    const file = from.replace('/en-US/', '/de/');
    it(file, () => {
      assert.ok(existsSync(file), `${file} is missing`);
      const en = new Map(flat(read(from)));
      const de = new Map(flat(read(file)));
      assert.deepEqual([...de.keys()].sort(), [...en.keys()].sort());
      for (const [key, text] of de) {
        assert.deepEqual(placeholders(text), placeholders(en.get(key) ?? ''), key);
        if (!key.includes('.status.')) continue;
        // Counts are shown in up to four characters; any other placeholder stands for at least two.
        const shown = text.replace(/__(decided|passed|all|read|aside)__/g, '9.9k').replace(/__\w+?__/g, '99');
        assert.ok(shown.length < 20, `${key}: ${shown}`);
      }
    });
  }
});

it('a trial in English shows the cautions that the records carry', () => {
  const { trial } = read('nodes/frame/locales/en-US/phaseloom-frame.json')['phaseloom-frame'] as { trial: Texts };
  assert.deepEqual(trial.caution, {
    identification: IDENTIFICATION_CAUTION,
    rotation: ROTATION_CAUTION,
    comparison: COMPARISON_CAUTION,
  });
});

it('a trial has a sentence for every reason that its findings can carry', () => {
  const judges = globSync(
    'lib/{identify*,conductor-reasons,open-point*,site-*,sequence,align,visit-angles,comparable,fitness*}.ts',
  );
  const code = /(?:code: |(?:told|refuse|reason)\(\s*|flaw\([^']*?)'([a-z]+(?:-[a-z0-9]+)+|stale|ambiguous)'/g;
  const codes = new Set(judges.flatMap((file) => [...readFileSync(file, 'utf8').matchAll(code)].map((m) => m[1]!)));
  assert.ok(codes.size > 50, `${codes.size} codes`);
  const { trial } = read('nodes/frame/locales/de/phaseloom-frame.json')['phaseloom-frame'] as { trial: Texts };
  assert.deepEqual([...codes].filter((c) => !(c in (trial.reason as Texts))).sort(), []);
});

const set = (text: string, pattern: RegExp) => [...new Set(text.match(pattern) ?? [])].sort();
const all = (text: string, pattern: RegExp) => [...text.matchAll(pattern)].map((m) => m[1]!);

const HEADINGS = ['Inputs', 'Outputs', 'Details', 'References'];
const UEBERSCHRIFTEN = ['Eingänge', 'Ausgänge', 'Einzelheiten', 'Quellen'];

/** The order, and what must not stand in a help, are those of Node-RED's help style guide. */
describe('the help of every node, in English and German', () => {
  const names = english.map((file) => file.split('/')[1]!);

  for (const name of names) {
    it(name, () => {
      const file = `nodes/${name}/locales/LANG/phaseloom-${name}.html`;
      const en = readFileSync(file.replace('LANG', 'en-US'), 'utf8');
      const de = readFileSync(file.replace('LANG', 'de'), 'utf8');
      for (const pattern of [/<code>[^<]*<\/code>/g, /data-help-name="[^"]*"/g, /<dt[^>]*>[^<]*/g])
        assert.deepEqual(set(de, pattern), set(en, pattern));
      const tags = (text: string) => (text.match(/<\/?(h3|h4|p|dl|dt|dd|ul|ol|li|pre)\b/g) ?? []).join(' ');
      assert.equal(tags(de), tags(en));

      const headings = all(en, /<h3>(.*?)<\/h3>/g);
      assert.deepEqual(
        headings,
        HEADINGS.filter((h) => headings.includes(h)),
      );
      assert.deepEqual(
        all(de, /<h3>(.*?)<\/h3>/g),
        headings.map((h) => UEBERSCHRIFTEN[HEADINGS.indexOf(h)]),
      );
      const dialog = readFileSync(`nodes/${name}/phaseloom-${name}.html`, 'utf8');
      const wanted = /inputs: 1/.test(dialog) ? ['Inputs', 'Outputs', 'Details'] : ['Details'];
      for (const heading of wanted) assert.ok(headings.includes(heading), heading);
      for (const text of [en, de]) {
        assert.doesNotMatch(text, /<\/?(b|i|em|strong)>/);
        const intro = /<p>([\s\S]*?)<\/p>/.exec(text)![1]!;
        assert.ok(intro.length <= 300, `${intro.length} characters of introduction`);
      }
    });
  }
});
