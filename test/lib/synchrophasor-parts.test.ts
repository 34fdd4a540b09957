import { expect } from 'chai';
import fc from 'fast-check';
import { type ConfigFrame, ConfigParts, decodeFrame, encodeConfigParts, encodeFrame } from '../../lib/synchrophasor';
import { config, resealed } from './synchrophasor-samples';

const SEED = { seed: 3, numRuns: 100 };
const long = config.filter((c) => c.type === 'config-3');
const taken = (parts: ConfigParts, frames: readonly Uint8Array[]) => frames.map((f) => parts.take(f));
const code = (got: ReturnType<ConfigParts['take']>) => (got.is === 'wrong' ? got.problem.code : got.is);

/** CFG-3 of so many PMUs with long names, more than 65 535 bytes from about 500 on. */
function wide(count: number): ConfigFrame {
  const [sample] = fc.sample(
    long.filter((c) => c.pmus.some((p) => p.phasors.length > 2)),
    { seed: 118, numRuns: 1 },
  );
  const pmus = Array.from({ length: count }, (_, k) => ({
    ...sample!.pmus[0]!,
    idCode: k + 1,
    station: 'x'.repeat(200),
  }));
  return { ...sample!, pmus };
}

// CONT_IDX from memory of IEEE C37.118.2-2011: 0 alone, 1 first, 2 and on, 65535 last.
describe('a CFG-3 in parts', () => {
  it('comes back as it was, whatever the size of the parts', () =>
    fc.assert(
      fc.property(long, fc.integer({ min: 19, max: 300 }), (c, most) => {
        const frames = encodeConfigParts(c, most);
        for (const f of frames) expect(f.length).to.be.at.most(most);
        const parts = new ConfigParts();
        const all = taken(parts, frames);
        const last = all.pop()!;
        if (frames.length === 1)
          expect([last.is, decodeFrame(frames[0]!)]).to.deep.equal(['none', { ok: true, frame: c }]);
        else expect(last).to.deep.equal({ is: 'whole', frame: c });
        expect(all.every((t) => t.is === 'part')).to.equal(true);
        expect(parts.waiting).to.equal(0);
      }),
      SEED,
    ));

  it('may be longer than a frame can say', () => {
    const c = wide(600);
    expect(() => encodeFrame(c)).to.throw(RangeError, /longer than 65535/);
    const frames = encodeConfigParts(c);
    expect(frames.length).to.be.greaterThan(1);
    expect(taken(new ConfigParts(), frames).at(-1)).to.deep.equal({ is: 'whole', frame: c });
  });

  it('out of order is refused with the reason, and the next whole series is taken', () => {
    const c = wide(3);
    const [a, b, ...rest] = encodeConfigParts(c, 200) as [Uint8Array, Uint8Array, ...Uint8Array[]];
    const parts = new ConfigParts();
    expect(code(parts.take(b))).to.equal('config-parts-disordered');
    expect(taken(parts, [a, rest[0]!]).map(code)).to.deep.equal(['part', 'config-parts-disordered']);
    expect(taken(parts, [a, b, b]).map(code)).to.deep.equal(['part', 'part', 'config-parts-disordered']);
    const other = resealed(b);
    other[5]! ^= 1;
    expect(taken(parts, [a, resealed(other)]).map(code)).to.deep.equal(['part', 'config-parts-disordered']);
    expect(parts.waiting).to.equal(0);
    const got = parts.take(rest.at(-1)!);
    expect(got.is === 'wrong' && got.problem).to.deep.include({
      at: '/contIdx',
      what: 'part 65535 (the last) came without a first part',
      expected: 'part 1 first',
    });
    expect(taken(parts, [a, b, a, b, ...rest]).at(-1)).to.deep.equal({ is: 'whole', frame: c });
  });

  it('with a part lost before the last is found out by its counts', () => {
    const frames = encodeConfigParts(wide(3), 200);
    const got = taken(new ConfigParts(), [...frames.slice(0, -2), frames.at(-1)!]).at(-1)!;
    expect(code(got)).to.be.oneOf(['frame-too-short', 'count-exceeds-frame']);
  });

  it('never grows beyond its bound, and other frames pass between the parts', () => {
    const parts = new ConfigParts(1000);
    const frames = encodeConfigParts(wide(20), 300);
    const got = taken(parts, frames).map(code);
    expect(got.slice(0, 4)).to.deep.equal(['part', 'part', 'part', 'config-parts-too-long']);
    expect(new Set(got.slice(4))).to.deep.equal(new Set(['config-parts-disordered']));
    const [a, ...rest] = encodeConfigParts(wide(2), 300) as [Uint8Array, ...Uint8Array[]];
    const command = { type: 'command' as const, version: 2, idCode: 7, time: { soc: 0, fraction: 0, quality: 0 } };
    const between = encodeFrame({ ...command, command: 2, extended: new Uint8Array(0) });
    const roomy = new ConfigParts();
    expect(taken(roomy, [a, between, ...rest]).map((t) => t.is)).to.deep.equal([
      'part',
      'none',
      ...rest.slice(1).map(() => 'part'),
      'whole',
    ]);
  });

  it('damaged is refused or read, never anything else', () => {
    const frames = encodeConfigParts(wide(2), 200);
    const spot = fc.tuple(fc.nat(frames.length - 1), fc.nat(250), fc.nat(255), fc.boolean());
    fc.assert(
      fc.property(spot, ([which, at, value, seal]) => {
        const copies: Uint8Array[] = frames.map((f) => Uint8Array.from(f));
        const hit = copies[which]!;
        hit[at % hit.length] = value;
        if (seal) copies[which] = resealed(hit);
        for (const got of taken(new ConfigParts(), copies))
          expect(got.is).to.be.oneOf(['none', 'part', 'whole', 'wrong']);
      }),
      { seed: 11, numRuns: 1000 },
    );
  });
});
