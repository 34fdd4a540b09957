// The German locale against the English one: same keys, same placeholders. The outside measure is the en-US text of each node.
import assert from 'node:assert/strict';
import { existsSync, globSync, readFileSync } from 'node:fs';

type Texts = { [key: string]: string | Texts };

const read = (file: string): Texts => JSON.parse(readFileSync(file, 'utf8'));

/** Every text of a catalogue by its dotted key. */
const flat = (texts: Texts, at = ''): [string, string][] =>
  Object.entries(texts).flatMap(([key, value]): [string, string][] =>
    typeof value === 'string' ? [[`${at}${key}`, value]] : flat(value, `${at}${key}.`),
  );

const placeholders = (text: string) => (text.match(/__\w+?__/g) ?? []).sort();

const german = globSync('nodes/*/locales/de/*.json').sort();

describe('German locale', () => {
  it('is there', () => assert.ok(german.length >= 10, `${german.length} catalogues`));

  for (const file of german) {
    it(file, () => {
      const english = file.replace('/de/', '/en-US/');
      assert.ok(existsSync(english), `${english} is missing`);
      const en = new Map(flat(read(english)));
      const de = new Map(flat(read(file)));
      assert.deepEqual([...de.keys()].sort(), [...en.keys()].sort());
      for (const [key, text] of de) {
        assert.deepEqual(placeholders(text), placeholders(en.get(key) ?? ''), key);
        if (!key.includes('.status.')) continue;
        // A placeholder stands for at least two digits.
        const shown = text.replace(/__\w+?__/g, '99');
        assert.ok(shown.length < 20, `${key}: ${shown}`);
      }
    });
  }
});
