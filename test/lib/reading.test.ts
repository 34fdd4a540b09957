import { createHash } from 'node:crypto';
import { runInNewContext } from 'node:vm';
import { expect } from 'chai';
import fc from 'fast-check';
import { parseReading } from '../../lib/reading';
import type { Problem, Reading } from '../../lib/records';

const GOOD = {
  kind: 'reading',
  terminal: 'hollin-bank/F3/S118/2',
  takenAt: '2026-05-04T10:15:30.250000Z',
  angleDeg: -118.4,
  against: 'utc',
  sigmaDeg: 1.5,
  voltageV: 14390,
  voltageIs: 'phase-to-earth',
  frequencyHz: 59.983,
  clock: { source: 'gnss', errorUs: 1.2, locked: true },
  coupling: 'contact',
  instrument: { id: 'P-07', selfTest: 'pass', batteryPct: 82, calibratedOn: '2026-01-10' },
  by: 'crew 4',
  position: { lat: 45.61, lon: -111.08 },
};
const LEAST = { terminal: 'a/1', takenAt: '2026-05-04T10:15:30Z', angleDeg: 1 };

function accepted(value: unknown): Reading {
  const parsed = parseReading(value);
  if (!parsed.ok) throw new Error(JSON.stringify(parsed.problems));
  return parsed.reading;
}

function refused(value: unknown, arrival = {}): readonly Problem[] {
  const parsed = parseReading(value, arrival);
  return parsed.ok ? [] : parsed.problems;
}
const codes = (value: unknown, arrival = {}) => refused(value, arrival).map((p) => `${p.at} ${p.code}`);

describe('a reading', () => {
  it('is taken as it is said, with its instant in UTC and its id', () => {
    expect(accepted(GOOD)).to.deep.equal({ ...GOOD, id: accepted(GOOD).id });
    expect(accepted({ ...GOOD, takenAt: '2026-05-04T12:15:30.25+02:00' })).to.deep.equal(accepted(GOOD));
  });

  it('has the second it was taken in and the first 128 bits of SHA-256 over its sorted JSON as id', () => {
    const { id, ...content } = accepted(LEAST);
    const sorted = Object.fromEntries(Object.entries(content).sort(([a], [b]) => (a < b ? -1 : 1)));
    const wanted = createHash('sha256').update(JSON.stringify(sorted)).digest('hex').slice(0, 32);
    const second = (Date.parse(content.takenAt) / 1000).toString(16).padStart(9, '0');
    expect(id).to.equal(`rd-${second}${wanted}`);
  });

  it('comes with its JSON text', () => {
    for (const said of [GOOD, LEAST]) {
      const parsed = parseReading(said);
      if (!parsed.ok) throw new Error(JSON.stringify(parsed.problems));
      expect(JSON.parse(parsed.json)).to.deep.equal(parsed.reading);
    }
  });

  it('keeps its id when it is read again, and whatever id it is given', () => {
    const once = accepted(GOOD);
    expect(accepted(JSON.parse(JSON.stringify(once)))).to.deep.equal(once);
    expect(accepted({ ...GOOD, id: 42 }).id).to.equal(once.id);
  });

  it('keeps members that are not ours, and they count for the id', () => {
    const more = accepted({ ...LEAST, firmware: { build: [1, 'x'] } });
    expect((more as unknown as { firmware: unknown }).firmware).to.deep.equal({ build: [1, 'x'] });
    expect(more.id).not.to.equal(accepted(LEAST).id);
  });

  it('is frozen and shares nothing with what came in', () => {
    const wire = structuredClone(GOOD);
    const reading = accepted(wire);
    wire.clock.errorUs = 1e6;
    expect(reading.clock?.errorUs).to.equal(1.2);
    expect([reading, reading.clock, reading.instrument].every(Object.isFrozen)).to.equal(true);
    expect(Object.isFrozen(wire)).to.equal(false);
  });

  it('may come from another realm, such as the sandbox of a Function node', () =>
    expect(accepted(runInNewContext('value => JSON.parse(value)')(JSON.stringify(GOOD)))).to.deep.equal(
      accepted(GOOD),
    ));

  it('is not changed by a member called constructor', () => {
    const reading = accepted({ ...LEAST, constructor: { prototype: { polluted: true } } });
    expect((reading as unknown as { constructor: unknown }).constructor).to.deep.equal({
      prototype: { polluted: true },
    });
    expect(({} as { polluted?: boolean }).polluted).to.equal(undefined);
  });
});

describe('what is wrong with a reading', () => {
  it('is told once when there is neither an angle nor a voltage', () =>
    expect(refused({ ...LEAST, angleDeg: undefined })).to.deep.equal([
      {
        at: '',
        code: 'schema-anyof',
        what: 'angleDeg or voltageV is needed',
        expected: 'at least one of angleDeg, voltageV',
      },
    ]));

  it('is told once, with all that is allowed, where one of several words is', () =>
    expect(refused({ ...LEAST, coupling: 'glove' })).to.deep.equal([
      {
        at: '/coupling',
        code: 'schema-anyof',
        what: '"glove" is not one of the values allowed here',
        expected: '"contact", "test-point", "air", "unknown"',
      },
    ]));

  it('names the place and the limit', () => {
    const [problem] = refused({ ...LEAST, position: { lat: 100, lon: 0 } });
    expect(problem).to.deep.equal({
      at: '/position/lat',
      code: 'schema-maximum',
      what: '100 must be <= 90',
      expected: 'at most 90',
    });
  });

  const WRONG: [what: string, value: unknown, codes: string[]][] = [
    ['nothing', undefined, [' schema-type']],
    ['null', null, [' schema-type']],
    ['an array', [LEAST], [' schema-type']],
    ['a text', JSON.stringify(LEAST), [' schema-type']],
    ['an empty object', {}, [' schema-anyof', '/terminal schema-required', '/takenAt schema-required']],
    ['NaN', { ...LEAST, angleDeg: Number.NaN }, ['/angleDeg schema-type']],
    ['1e400', { ...LEAST, voltageV: JSON.parse('1e400') }, ['/voltageV schema-type']],
    [
      '1e400 in a member that is not ours',
      { ...LEAST, more: [{ x: JSON.parse('1e400') }] },
      ['/more/0/x number-not-finite'],
    ],
    ['a Date', { ...LEAST, takenAt: new Date(0) }, ['/takenAt not-json']],
    ['a function', { ...LEAST, f: () => 1 }, ['/f not-json']],
    ['a Buffer', { ...LEAST, raw: Buffer.from('x') }, ['/raw not-json']],
    ['a bigint', { ...LEAST, n: 1n }, ['/n not-json']],
    [
      '__proto__',
      JSON.parse('{"terminal":"a","takenAt":"2026-05-04T10:15:30Z","angleDeg":1,"__proto__":{"x":1}}'),
      ['/__proto__ name-forbidden'],
    ],
    [
      '__proto__ further in',
      { ...LEAST, clock: JSON.parse('{"__proto__":{"locked":true}}') },
      ['/clock/__proto__ name-forbidden'],
    ],
    [
      'what is only inherited',
      Object.create(LEAST),
      [' schema-anyof', '/terminal schema-required', '/takenAt schema-required'],
    ],
    ['an empty terminal', { ...LEAST, terminal: '' }, ['/terminal schema-minlength']],
    ['a day that does not exist', { ...LEAST, takenAt: '2026-02-30T00:00:00Z' }, ['/takenAt schema-format']],
    [
      'two things',
      { ...LEAST, sigmaDeg: 0, frequencyHz: '60' },
      ['/sigmaDeg schema-exclusiveminimum', '/frequencyHz schema-type'],
    ],
    ['a year before instruments', { ...LEAST, takenAt: '1999-12-31T23:59:59Z' }, ['/takenAt instant-implausible']],
    ['another kind', { ...LEAST, kind: 'alert' }, ['/kind schema-const']],
    ['a place whose name has a slash and a tilde', { ...LEAST, 'a/b~c': Number.NaN }, ['/a~1b~0c number-not-finite']],
  ];
  for (const [what, value, wanted] of WRONG) {
    it(`${what}: ${wanted.join(', ')}`, () => expect(codes(value).sort()).to.deep.equal([...wanted].sort()));
  }

  it('refuses bottomless and self-containing values at once', () => {
    let deep: unknown = 1;
    for (let i = 0; i < 1e5; i++) deep = { deep };
    const round: Record<string, unknown> = { ...LEAST };
    for (const name of 'abcdefghij') round[name] = round;
    expect(codes({ ...LEAST, deep })[0]).to.match(/^\/deep\/deep.* nested-too-deep$/);
    expect(codes(round).length).to.be.within(1, 20);
  });

  it('compares with the arrival and with the network', () => {
    const receivedAtUs = Date.UTC(2026, 4, 4, 10, 15, 20) * 1000;
    expect(codes(LEAST, { receivedAtUs })).to.deep.equal(['/takenAt instant-implausible']);
    expect(codes(LEAST, { receivedAtUs, futureToleranceS: 10 })).to.deep.equal([]);
    expect(codes(LEAST, { terminals: new Set(['b/1']) })).to.deep.equal(['/terminal terminal-unknown']);
  });

  it('is always told in the form of a Problem, whatever comes', () =>
    fc.assert(
      fc.property(fc.anything({ withBigInt: true, withDate: true, withMap: true, withTypedArray: true }), (value) => {
        const parsed = parseReading(value);
        expect(parsed.ok).to.equal(false);
        for (const p of refused(value)) expect(p).to.have.all.keys('at', 'code', 'what', 'expected');
      }),
      { seed: 20261125, numRuns: 100 },
    ));

  it('leaves a reading alone that differs from a sound one in a member that is not ours', () =>
    fc.assert(
      fc.property(fc.jsonValue(), (more) => {
        expect(parseReading({ ...GOOD, more: JSON.parse(JSON.stringify(more)) }).ok).to.equal(
          !JSON.stringify(more).includes('"__proto__"'),
        );
      }),
      { seed: 20261125, numRuns: 100 },
    ));
});
