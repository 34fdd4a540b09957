import { expect } from 'chai';
import fc from 'fast-check';
import { parseReading } from '../../lib/reading';
import {
  bindChannels,
  type ConfigFrame,
  clockOf,
  crcCcitt,
  type DataFrame,
  dataFrameBytes,
  decodeFrame,
  encodeFrame,
  FrameSplitter,
  frameTime,
  instantUs,
  messageErrorUs,
  pmuErrorUs,
  readingsOf,
  readStatus,
} from '../../lib/synchrophasor';
import { clockErrorUs } from '../../lib/timing';
import { config, head, resealed, stream } from './synchrophasor-samples';

const SEED = { seed: 37118, numRuns: 300 };
/** Mutated frames; PHASELOOM_MUTATIONS=1000000 for a long run. */
const MUTATIONS = Number(process.env.PHASELOOM_MUTATIONS ?? 5000);

const decoded = (bytes: Uint8Array, c?: ConfigFrame) => {
  const result = decodeFrame(bytes, c);
  return result.ok ? result.frame : expect.fail(result.problem.what);
};
const problem = (bytes: Uint8Array, c?: ConfigFrame) => {
  const result = decodeFrame(bytes, c);
  return result.ok ? 'none' : result.problem.code;
};

const phasor = (name: string, unit = 100_000) => ({ name, isCurrent: false, unit });
const FLOATS = { isPolar: true, floatPhasors: true, floatAnalogs: false, floatFrequency: true };
const plain: ConfigFrame = {
  type: 'config-2',
  version: 2,
  idCode: 7,
  time: { soc: 1_772_000_000, fraction: 0, quality: 0 },
  timeBase: 1_000_000,
  dataRate: 30,
  pmus: [
    {
      station: 'Hollin bank',
      idCode: 7,
      format: FLOATS,
      phasors: [phasor('VA'), phasor('VB'), { ...phasor('IA'), isCurrent: true }],
      analogs: [],
      digitals: [],
      nominalHz: 60,
      changes: 1,
    },
  ],
};
const dataAt = (stat: number, quality = 0, phasors = [7200, 0, 7190, (-2 * Math.PI) / 3, 10, 0]): DataFrame => ({
  type: 'data',
  version: 2,
  idCode: 7,
  time: { soc: 1_772_000_000, fraction: 33_333, quality },
  pmus: [{ stat, phasors, frequency: 59.98, frequencyRate: 0, analogs: [], digitals: [] }],
});

describe('synchrophasor frames', () => {
  it('have the check word of CRC-16 with start 0xFFFF: 0x29B1 for "123456789" (catalogued check value of CRC-16/CCITT-FALSE)', () =>
    expect(crcCcitt(new TextEncoder().encode('123456789'))).to.equal(0x29b1));

  it('come back as they were: configurations of every kind', () =>
    fc.assert(
      fc.property(config, (c) => {
        const bytes = encodeFrame(c);
        expect(decoded(bytes)).to.deep.equal(c);
        expect(encodeFrame(decoded(bytes) as ConfigFrame)).to.deep.equal(bytes);
      }),
      SEED,
    ));

  it('come back as they were: data, 16-bit and float, rectangular and polar', () =>
    fc.assert(
      fc.property(stream, ({ config: c, data }) => {
        const bytes = encodeFrame(data, c);
        expect(bytes.length).to.equal(dataFrameBytes(c));
        expect(decoded(bytes, c)).to.deep.equal(data);
      }),
      SEED,
    ));

  it('come back as they were: commands and headers', () =>
    fc.assert(
      fc.property(
        fc.oneof(
          fc.record({
            type: fc.constant('command' as const),
            ...head,
            command: fc.integer({ min: 0, max: 0xffff }),
            extended: fc.uint8Array({ maxLength: 64 }),
          }),
          fc.record({ type: fc.constant('header' as const), ...head, text: fc.stringMatching(/^[ -~\r\n]{0,200}$/) }),
        ),
        (frame) => {
          expect(decoded(encodeFrame(frame))).to.deep.equal(frame);
        },
      ),
      SEED,
    ));

  it('say why they are none', () => {
    const good = encodeFrame(plain);
    const changed = (at: number, ...bytes: number[]) => {
      const copy = Uint8Array.from(good);
      copy.set(bytes, at);
      return copy;
    };
    expect(problem(good.subarray(0, 10))).to.equal('frame-too-short');
    expect(problem(changed(0, 0xab))).to.equal('sync-unknown');
    expect(problem(changed(1, 0x33))).to.equal('sync-unknown');
    expect(problem(good.subarray(0, good.length - 1))).to.equal('size-wrong');
    expect(problem(changed(30, 0x41))).to.equal('crc-wrong');
    expect(problem(resealed(changed(18, 0xff, 0xff)))).to.equal('count-exceeds-frame');
    expect(problem(resealed(changed(40, 0xff, 0xff)))).to.equal('count-exceeds-frame');
    expect(problem(resealed(changed(20, 0x07)))).to.equal('name-not-text');
    expect(problem(resealed(changed(14, 0, 0, 0, 0)))).to.equal('time-base-zero');
    expect(problem(encodeFrame({ ...plain, pmus: [] }))).to.equal('no-pmu');
    expect(problem(resealed(Uint8Array.from([...good, 0, 0])))).to.equal('frame-too-long');
    const data = encodeFrame(dataAt(0), plain);
    expect(problem(data)).to.equal('configuration-missing');
    expect(problem(data, { ...plain, idCode: 8 })).to.equal('stream-unknown');
    expect(problem(resealed(data.subarray(0, data.length - 2)), plain)).to.equal('data-not-of-configuration');
  });

  it(`are frames or problems, never anything else, after ${MUTATIONS} mutations`, function () {
    this.timeout(60_000 + MUTATIONS);
    const bytesOf = fc.tuple(stream, fc.boolean()).map(([s, isData]) => ({
      ...s,
      bytes: isData ? encodeFrame(s.data, s.config) : encodeFrame(s.config),
    }));
    const seeds = fc.sample(bytesOf, { seed: 2011, numRuns: 50 });
    const change = fc.record({
      from: fc.nat(seeds.length - 1),
      cut: fc.nat(40),
      seal: fc.boolean(),
      spots: fc.array(fc.tuple(fc.nat(400), fc.nat(255)), { minLength: 1, maxLength: 6 }),
    });
    let refused = 0;
    fc.assert(
      fc.property(change, ({ from, cut, seal, spots }) => {
        const { bytes, config: c } = seeds[from]!;
        const copy = bytes.slice(0, Math.max(2, bytes.length - (cut > 20 ? cut - 20 : 0)));
        for (const [at, value] of spots) copy[at % copy.length] = value;
        const result = decodeFrame(seal && copy.length >= 16 ? resealed(copy) : copy, c);
        if (!result.ok) {
          refused++;
          expect(result.problem.code).to.match(/^[a-z0-9-]+$/);
          expect(result.problem.expected).to.not.equal('');
        }
      }),
      { seed: 2011, numRuns: MUTATIONS },
    );
    expect(refused)
      .to.be.greaterThan(MUTATIONS / 4)
      .and.lessThan(MUTATIONS);
  });
});

describe('the splitter of a stream', () => {
  const frames = (cuts: ReturnType<FrameSplitter['push']>) => cuts.flatMap((c) => ('frame' in c ? [c.frame] : []));

  it('gives every frame once and in order, however the stream is cut, and passes over what lies between', () =>
    fc.assert(
      fc.property(
        fc.array(fc.tuple(stream, fc.uint8Array({ maxLength: 5 })), { minLength: 1, maxLength: 4 }),
        fc.array(fc.integer({ min: 1, max: 300 }), { minLength: 1, maxLength: 20 }),
        (items, sizes) => {
          const sent = items.map(([s]) => encodeFrame(s.data, s.config));
          // No SYNC in the noise: one that promises a long frame would hold the stream up, as it should.
          const noise = items.map(([, n]) => n.map((b) => (b === 0xaa ? 0 : b)));
          const all = Uint8Array.from(sent.flatMap((f, i) => [...noise[i]!, ...f]));
          const splitter = new FrameSplitter();
          const got: Uint8Array[] = [];
          let stray = 0;
          for (let at = 0, i = 0; at < all.length; i++) {
            const size = sizes[i % sizes.length]!;
            const cuts = splitter.push(all.subarray(at, at + size));
            got.push(...frames(cuts));
            for (const c of cuts) if ('problem' in c) stray += c.bytes.length;
            at += size;
          }
          expect(got.map((f) => Buffer.from(f).toString('hex'))).to.deep.equal(
            sent.map((f) => Buffer.from(f).toString('hex')),
          );
          expect(stray).to.equal(noise.reduce((n, b) => n + b.length, 0));
          expect(splitter.waiting).to.equal(0);
        },
      ),
      { seed: 37118, numRuns: 100 },
    ));

  it('finds the frames that follow one that lied about its size', () => {
    const liar = Uint8Array.from(encodeFrame(dataAt(0), plain));
    liar[3]! += 40;
    const good = encodeFrame(dataAt(1), plain);
    const cuts = new FrameSplitter().push(Uint8Array.from([...liar, ...good, ...good]));
    expect(frames(cuts)).to.deep.equal([good, good]);
    expect(cuts.filter((c) => 'problem' in c)).to.have.length(1);
  });

  it('gives up on bytes that look like frames everywhere', () => {
    const bytes = new Uint8Array(60_000).map((_, i) => [0xaa, 0x01, 0x40, 0x00][i % 4]!);
    const splitter = new FrameSplitter();
    const cuts = splitter.push(bytes);
    expect(frames(cuts)).to.deep.equal([]);
    expect(splitter.waiting).to.equal(0);
    expect(frames(splitter.push(encodeFrame(plain)))).to.have.length(1);
  });
});

describe('the time of a frame', () => {
  it('comes back from SOC and FRACSEC to the microsecond', () =>
    fc.assert(
      fc.property(fc.integer({ min: 0, max: 4_294_967_294_999_999 }), (us) => {
        expect(instantUs(frameTime(us, 1_000_000), 1_000_000)).to.equal(us);
        expect(Math.abs(instantUs(frameTime(us, 16_777_215), 16_777_215) - us)).to.be.at.most(1);
      }),
      SEED,
    ));

  it('has the bounds of MSG_TQ and PMU_TQ (IEEE C37.118.2-2011, tables 3 and 7, from memory)', () => {
    expect([1, 4, 7, 10, 11].map(messageErrorUs)).to.deep.equal([1e-3, 1, 1e3, 1e6, 1e7]);
    expect([1, 2, 3, 4, 5, 6].map(pmuErrorUs)).to.deep.equal([0.1, 1, 10, 100, 1e3, 1e4]);
    expect([messageErrorUs(15), pmuErrorUs(7), pmuErrorUs(0)]).to.deep.equal([Infinity, Infinity, undefined]);
  });

  const error = (stat: number, quality: number, lockedErrorUs?: number) =>
    clockErrorUs(clockOf(readStatus(stat), quality, { source: 'gnss', ...(lockedErrorUs ? { lockedErrorUs } : {}) }));

  it('is known only where the frame states it or the setting does', () => {
    expect(error(0, 0)).to.equal(null);
    expect(error(0, 0, 1)).to.equal(1);
    expect(error(0x0080, 0)).to.equal(1);
    expect(error(0x0080, 5)).to.equal(10);
    expect(error(0x20c0, 0)).to.equal(10);
    expect(error(0x2000, 4, 1)).to.equal(null);
    expect(error(0x01c0, 0, 1)).to.equal(null);
    expect(error(0, 15, 1)).to.equal(null);
    expect(error(0x1080, 0, 1)).to.equal(null);
  });
});

describe('readings of a data frame', () => {
  const rows = [
    { pmu: 7, channel: 'VA', terminal: 's/1', voltageIs: 'phase-to-earth' as const },
    { pmu: 'Hollin bank', channel: 'VB', terminal: 's/2', turnDeg: 30 },
  ];
  const { channels } = bindChannels(plain, rows);
  const of = (frame: DataFrame) => readingsOf(plain, frame, channels, { source: 'gnss', lockedErrorUs: 1 });

  it('are the channels of the table, in volts and degrees', () => {
    const { readings, refused } = of(dataAt(0));
    expect(refused).to.deep.equal([]);
    const [a, b] = readings.map((r) => parseReading(r)).map((p) => (p.ok ? p.reading : expect.fail('refused')));
    expect(a).to.deep.include({ terminal: 's/1', angleDeg: 0, voltageV: 7200, frequencyHz: 59.98, against: 'utc' });
    expect(a!.takenAt).to.equal('2026-02-25T06:13:20.033333Z');
    expect(a!.clock).to.deep.equal({ source: 'gnss', errorUs: 1, locked: true });
    expect(b!.angleDeg).to.be.closeTo(-90, 1e-9);
  });

  it('scale 16-bit numbers by PHUNIT and CFG-3 numbers by PHSCALE, and leave absent ones out', () => {
    const format = { ...FLOATS, floatPhasors: false, isPolar: false, floatFrequency: false };
    const pmu = { ...plain.pmus[0]!, format };
    const short = { ...plain, pmus: [pmu] };
    const data = dataAt(0, 0, [0, 7200, -32768, 0, 0, 0]);
    const frame = { ...data, pmus: [{ ...data.pmus[0]!, frequency: -20 }] };
    const { readings, refused } = readingsOf(short, frame, channels);
    expect(readings[0]).to.deep.include({ angleDeg: 90, voltageV: 7200, frequencyHz: 59.98 });
    expect(refused[0]!.problem.code).to.equal('value-absent');
    const scale = { flags: 0, component: 4, user: 0, factor: 0.5, angleRad: Math.PI / 2 };
    const long = { ...plain, pmus: [{ ...pmu, phasors: pmu.phasors.map((p) => ({ ...p, scale })) }] };
    expect(readingsOf(long, frame, channels).readings[0]).to.deep.include({ angleDeg: 0, voltageV: 3600 });
  });

  it('of 0 V have no angle', () => {
    const { readings, refused } = of(dataAt(0, 0, [0, 0, 7200, 1, 7200, 2]));
    expect(refused.map((r) => [r.terminal, r.problem.code])).to.deep.equal([['s/1', 'magnitude-zero']]);
    expect(readings.map((r) => [r.terminal, r.coupling])).to.deep.equal([['s/2', 'contact']]);
  });

  it('are refused, or fail the self-test, by the error bits of STAT', () => {
    expect(of(dataAt(0xc000)).refused.map((r) => r.problem.code)).to.deep.equal([
      'values-not-usable',
      'values-not-usable',
    ]);
    expect(of(dataAt(0x8000)).readings).to.deep.equal([]);
    expect(of(dataAt(0x4000)).readings[0]!.instrument).to.deep.equal({ id: 'pmu-7', selfTest: 'fail' });
  });

  it('come only from rows that name one voltage channel', () => {
    const twice = { ...plain, pmus: [plain.pmus[0]!, { ...plain.pmus[0]!, idCode: 8 }] };
    const { problems } = bindChannels(twice, [
      { pmu: 7, channel: 'VC', terminal: 't' },
      { pmu: 7, channel: 'IA', terminal: 't' },
      { pmu: 'Hollin bank', channel: 'VA', terminal: 't' },
      { pmu: 8, channel: 'VA', terminal: 't' },
    ]);
    expect(problems.map((p) => [p.at, p.code])).to.deep.equal([
      ['/channels/0', 'channel-unknown'],
      ['/channels/1', 'channel-is-current'],
      ['/channels/2', 'channel-ambiguous'],
    ]);
  });
});
