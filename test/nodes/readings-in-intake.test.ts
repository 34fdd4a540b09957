import { expect } from 'chai';
import fc from 'fast-check';
import { problemsOf } from '../../lib/validate';
import type { Arrival } from '../../nodes/readings-in/arrival';
import { type IntakeRules, take } from '../../nodes/readings-in/intake';
import { NearMatch } from '../../nodes/readings-in/near-match';

const GOOD = {
  terminal: 'hollin-bank/F3/S118/2',
  takenAt: '2026-05-04T10:15:30.250000Z',
  angleDeg: -118.4,
  against: 'utc',
};
const terminals = new Map([GOOD.terminal, 'hollin-bank/F3/S118/1', 'hollin-bank/F4/S7/1'].map((id) => [id, {}]));
const RULES: IntakeRules = { maxBytes: 65_536, futureToleranceS: 5, terminals, nearMatch: new NearMatch(terminals) };

const arrival = (bytes: Buffer | string): Arrival => ({
  topic: 'readings/P-07',
  bytes: Buffer.from(bytes as string),
  receivedAtUs: Date.UTC(2026, 4, 4, 10, 16) * 1000,
  retain: false,
});
const json = (over: object) => JSON.stringify({ ...GOOD, ...over });

/** A way to be wrong, and the code and place the rejection must name. */
const BATTERY: [name: string, bytes: Buffer | string, code: string, at: string][] = [
  ['nothing', '', 'payload-empty', ''],
  ['not JSON', 'angle=-118.4', 'json-invalid', ''],
  ['JSON cut short', json({}).slice(0, 40), 'json-invalid', ''],
  ['NaN', '{"terminal":"hollin-bank/F3/S118/2","takenAt":"2026-05-04T10:15:30Z","angleDeg":NaN}', 'json-invalid', ''],
  ['a number past the range of a double', json({}).replace('-118.4', '1e400'), 'schema-type', '/angleDeg'],
  ['a number as text', json({ angleDeg: '-118.4' }), 'schema-type', '/angleDeg'],
  ['null', 'null', 'schema-type', ''],
  ['a bare number', '42', 'schema-type', ''],
  ['another kind', json({ kind: 'alert' }), 'schema-const', '/kind'],
  ['no terminal', json({ terminal: undefined }), 'schema-required', '/terminal'],
  ['an absurd angle', json({ angleDeg: 4000 }), 'schema-maximum', '/angleDeg'],
  ['a negative voltage', json({ voltageV: -1 }), 'schema-minimum', '/voltageV'],
  ['a day that does not exist', json({ takenAt: '2026-02-30T00:00:00Z' }), 'schema-format', '/takenAt'],
  ['an instant in the future', json({ takenAt: '2026-05-04T11:00:00Z' }), 'instant-implausible', '/takenAt'],
  ['an instant before any instrument', json({ takenAt: '1970-01-01T00:00:00Z' }), 'instant-implausible', '/takenAt'],
  ['a terminal that is not in the network', json({ terminal: 'elsewhere/1' }), 'terminal-unknown', '/terminal'],
  ['10 MB', Buffer.alloc(10_000_000, 'x'), 'payload-too-large', ''],
  ['Latin-1 text', Buffer.from(json({ note: 'München' }), 'latin1'), 'encoding-not-utf8', ''],
  [
    'UTF-16 with a mark',
    Buffer.concat([Buffer.from([0xff, 0xfe]), Buffer.from(json({}), 'utf16le')]),
    'encoding-not-utf8',
    '',
  ],
  ['UTF-16 without a mark', Buffer.from(json({}), 'utf16le'), 'json-invalid', ''],
  ['a prototype key', json({}).replace('{', '{"__proto__":{"polluted":true},'), 'name-forbidden', '/__proto__'],
  [
    'a prototype key behind an escape',
    json({}).replace('{', '{"\\u005f_proto__":{"polluted":true},'),
    'name-forbidden',
    '/__proto__',
  ],
  [
    'a prototype key further in',
    json({ clock: { constructor: { prototype: 1 } } }),
    'name-forbidden',
    '/clock/constructor',
  ],
  ['a NUL in a name', json({ terminal: 'hollin\0bank' }), 'nul-character', '/terminal'],
  [
    'nesting without end',
    json({ more: 0 }).replace('"more":0', `"more":${'['.repeat(30_000)}${']'.repeat(30_000)}`),
    'nested-too-deep',
    '/more/0/0/0/0/0/0/0/0/0/0/0/0/0/0/0',
  ],
  ['an array of everything', `[${Array(20_000).fill('1').join(',')}]`, 'too-many-readings', ''],
];

describe('readings in: what arrives becomes a reading or a rejection', () => {
  it('takes a reading, its instant and id made the same way each time', () => {
    const { readings, rejection } = take(arrival(json({})), RULES);
    expect(rejection).to.equal(undefined);
    expect(readings).to.have.length(1);
    expect(readings[0]).to.include({ kind: 'reading', angleDeg: -118.4, takenAt: '2026-05-04T10:15:30.250000Z' });
    expect(problemsOf('reading', readings[0])).to.deep.equal([]);
    expect(take(arrival(`\n ${json({})} `), RULES).readings[0]!.id).to.equal(readings[0]!.id);
  });

  it('takes text with a byte order mark, and members it does not know', () => {
    const { readings } = take(arrival(`\uFEFF${json({ firmware: { build: [1, 2] } })}`), RULES);
    expect(readings[0]).to.deep.include({ firmware: { build: [1, 2] } });
  });

  for (const [name, bytes, code, at] of BATTERY) {
    it(`rejects ${name}: ${code} at "${at.slice(0, 30)}"`, () => {
      const came = arrival(bytes);
      const { readings, rejection } = take(came, RULES);
      expect(readings).to.deep.equal([]);
      expect(rejection!.problems.map((p) => [p.code, p.at])).to.deep.include([code, at]);
      expect(problemsOf('rejection', rejection)).to.deep.equal([]);
      expect(rejection!.bytes).to.equal(came.bytes.length);
      for (const p of rejection!.problems) expect([p.what, p.expected].every((text) => text.length > 0)).to.equal(true);
      expect(take({ ...came, receivedAtUs: came.receivedAtUs + 9e6 }, RULES).rejection!.id).to.equal(rejection!.id);
      expect(({} as { polluted?: boolean }).polluted).to.equal(undefined);
    });
  }

  it('asks "did you mean" for a terminal written nearly right', () => {
    const hint = (terminal: string) => take(arrival(json({ terminal })), RULES).rejection!.problems[0]!.expected;
    expect(hint('Hollin Bank/F3/S118/2')).to.contain('did you mean "hollin-bank/F3/S118/2"?');
    expect(hint('hollin-bank/F3/S181/2')).to.contain('did you mean "hollin-bank/F3/S118/2"?');
    expect(hint('nowhere-near/this')).not.to.contain('did you mean');
  });

  it('says which of an array are wrong and keeps the others', () => {
    const several = [GOOD, { ...GOOD, angleDeg: 'x' }, { ...GOOD, angleDeg: 1 }, 7];
    const { readings, rejection } = take(arrival(JSON.stringify(several)), RULES);
    expect(readings.map((r) => r.angleDeg)).to.deep.equal([-118.4, 1]);
    expect(rejection!.problems.map((p) => p.at)).to.deep.equal(['/1/angleDeg', '/3']);
    expect(rejection!.terminal).to.equal(null);
  });

  it('names the terminal of a broken reading, and shows the start of the bytes', () => {
    const { rejection } = take(arrival(json({ angleDeg: null })), RULES);
    expect(rejection).to.include({ terminal: GOOD.terminal, source: 'readings/P-07', stage: 'front-door' });
    expect(JSON.parse(rejection!.excerpt)).to.deep.equal({ ...GOOD, angleDeg: null });
    expect(take(arrival(Buffer.alloc(100)), RULES).rejection!.excerpt).to.equal('\u2400'.repeat(100));
  });

  it('never throws, whatever the bytes, and always makes records that keep their schema (property, 1000 cases)', () => {
    const anything = fc.oneof(
      fc.uint8Array({ maxLength: 300 }).map((bytes) => Buffer.from(bytes)),
      fc.json().map((text) => Buffer.from(text)),
      fc.object({ maxDepth: 5 }).map((over) => Buffer.from(JSON.stringify({ ...GOOD, ...over }))),
      fc.array(fc.jsonValue(), { maxLength: 70 }).map((values) => Buffer.from(JSON.stringify(values))),
    );
    fc.assert(
      fc.property(anything, fc.string({ maxLength: 500 }), (bytes, topic) => {
        const { readings, rejection } = take({ ...arrival(bytes), topic }, RULES);
        if (bytes.toString().trim() !== '[]') expect(readings.length + (rejection ? 1 : 0)).to.be.greaterThan(0);
        for (const reading of readings) expect(problemsOf('reading', reading)).to.deep.equal([]);
        if (rejection) expect(problemsOf('rejection', rejection)).to.deep.equal([]);
      }),
      { seed: 5, numRuns: 1000 },
    );
  });
});
