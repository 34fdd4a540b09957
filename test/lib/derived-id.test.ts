import { createHash } from 'node:crypto';
import { expect } from 'chai';
import fc from 'fast-check';
import { canonicalJson, derivedId, digest, portableDigest } from '../../lib/derived-id';
import { formatInstant } from '../../lib/instant';

const SEED = { seed: 20261125, numRuns: 100 };
const content = fc.dictionary(fc.string({ unit: 'grapheme' }), fc.jsonValue({ maxDepth: 2 }), {
  noNullPrototype: true,
});

/** The same object with its members in another order, all the way down. */
function shuffled(value: unknown): unknown {
  if (Array.isArray(value)) return value.map(shuffled);
  if (value === null || typeof value !== 'object') return value;
  return Object.fromEntries(
    Object.entries(value)
      .reverse()
      .map(([k, v]) => [k, shuffled(v)]),
  );
}

describe('derived ids', () => {
  it('hash as FIPS 180-4 says: the digest of "abc" and of the empty text, first 128 bits', () => {
    for (const either of [digest, portableDigest]) {
      expect(either('abc')).to.equal('ba7816bf8f01cfea414140de5dae2223');
      expect(either('')).to.equal('e3b0c44298fc1c149afbf4c8996fb924');
    }
  });

  it("agree with Node's own SHA-256 around the borders of its blocks and of our buffer, in one, two, three and four bytes a character", () => {
    for (const letter of ['a', 'é', '€', '😂', '\ud800']) {
      for (const length of [1, 54, 55, 56, 63, 64, 65, 119, 120, 1364, 1365, 1366, 5000]) {
        const text = letter.repeat(length);
        const expected = createHash('sha256').update(text, 'utf8').digest('hex').slice(0, 32);
        const found = [digest(text), portableDigest(text)];
        expect(found, `${length} times ${letter}`).to.deep.equal([expected, expected]);
      }
    }
  });

  it('do not depend on the order of members', () =>
    fc.assert(
      fc.property(content, (c) => {
        expect(derivedId('reading', shuffled(c) as object)).to.equal(derivedId('reading', c));
      }),
      SEED,
    ));

  it('are in the order of the seconds the records speak of, from 1970 on', () =>
    fc.assert(
      fc.property(fc.integer({ min: 0, max: 4e9 }), fc.integer({ min: 1, max: 4e9 }), content, (second, later, c) => {
        const at = (s: number) => formatInstant(s * 1e6 + 999_999);
        const [one, two] = [second, second + later].map((s) => derivedId('rejection', { ...c, at: at(s) }));
        expect(one! < two!).to.equal(true);
        expect(one).to.match(/^rj-[0-9a-f]{41}$/);
      }),
      SEED,
    ));

  it('hold the second in nine hexadecimal digits, and none without an instant', () => {
    // 2026-05-04T10:15:30Z is 1777889730 in POSIX time (GNU date), hexadecimal 69f871c2.
    const content = { takenAt: '2026-05-04T10:15:30.250000Z' };
    expect(derivedId('reading', content)).to.equal(`rd-069f871c2${digest(JSON.stringify(content))}`);
    expect(derivedId('reading', { a: 1 })).to.equal(`rd-${digest('{"a":1}')}`);
    expect(derivedId('reading', { takenAt: 'noon' })).to.equal(`rd-${digest('{"takenAt":"noon"}')}`);
  });

  it('canonical JSON says what the value says', () =>
    fc.assert(
      fc.property(fc.jsonValue(), (v) => {
        expect(JSON.parse(canonicalJson(v))).to.deep.equal(JSON.parse(JSON.stringify(v)));
      }),
      SEED,
    ));

  it('differ for different content', () => {
    const ids = [
      { a: 1 },
      { a: '1' },
      { a: [1] },
      { a: { b: 1 } },
      { b: 1 },
      { a: null },
      {},
      { a: -1 },
      { a: 1, b: 1 },
    ].map((c) => derivedId('reading', c));
    expect(new Set(ids).size).to.equal(ids.length);
  });

  it('leave out the id of the record, not an id further in', () => {
    expect(derivedId('reading', { id: 'x', a: 1 })).to.equal(derivedId('reading', { a: 1 }));
    expect(derivedId('reading', { a: { id: 'x' } })).not.to.equal(derivedId('reading', { a: {} }));
  });

  // RFC 8785 section 3.2.3 sorts by UTF-16 units; this is its example, less the control character.
  it('sort members as RFC 8785 does', () => {
    const keys = ['\u20ac', '1', '\u{1f602}', '\u00f6', '\ufb33', 'Script'];
    const text = canonicalJson(Object.fromEntries(keys.map((k) => [k, 0])));
    expect([...text.matchAll(/"([^"]+)":/g)].map((m) => m[1])).to.deep.equal([
      '1',
      'Script',
      '\u00f6',
      '\u20ac',
      '\u{1f602}',
      '\ufb33',
    ]);
  });

  it('put number-like member names where RFC 8785 does, not where JavaScript does', () =>
    expect(canonicalJson({ 2: 'b', 10: 'a' })).to.equal('{"10":"a","2":"b"}'));

  it('sort many members as they sort few', () => {
    const keys = Array.from({ length: 100 }, (_, i) => `k${(i * 37) % 100}`);
    const text = canonicalJson(Object.fromEntries(keys.map((k) => [k, 0])));
    expect([...text.matchAll(/"([^"]+)":/g)].map((m) => m[1])).to.deep.equal([...keys].sort());
  });

  it('write what JSON cannot say as JSON.stringify does', () =>
    expect(canonicalJson([Number.NaN, Number.POSITIVE_INFINITY, undefined, -0, '\ud800'])).to.equal(
      JSON.stringify([Number.NaN, Number.POSITIVE_INFINITY, undefined, -0, '\ud800']),
    ));
});
