import assert from 'node:assert/strict';
import fc from 'fast-check';
import { formatInstant, WaveDoor, WaveReader, WaveStreams, waveEstimator } from '../../lib';

// A cosine of nominal frequency that peaks at the UTC second has angle 0 at every instant (IEC/IEEE 60255-118-1, from memory).
const RATE = 3200;
const START_US = 1_772_000_000e6;
const piece = (from: number, count: number, over: object = {}) => ({
  terminal: 'bank/1',
  rateHz: RATE,
  everyS: 0.1,
  firstAt: formatInstant(START_US + Math.round((from * 1e6) / RATE)),
  samples: Array.from({ length: count }, (_, k) => 325 * Math.cos((2 * Math.PI * 50 * (from + k)) / RATE + 0.4)),
  ...over,
});
const streams = (most?: number) => new WaveStreams(new WaveReader(50), 5, most);
/** Milliseconds after the second; the middle of a window lies within half a sample of where it should. */
const tenth = (at: string) => String(Math.round(Number(at.slice(20, 26)) / 1000));
const told = (read: ReturnType<WaveStreams['push']>) =>
  read.map((r) => (r.ok ? tenth(String(r.value.takenAt)) : r.problems[0]!.code));
const pieces = (
  w: WaveStreams,
  sizes: readonly number[],
  total: number,
  over: (from: number) => object = () => ({}),
) => {
  const got: string[] = [];
  for (let from = 0, i = 0; from < total; i++) {
    const size = Math.min(sizes[i % sizes.length]!, total - from);
    got.push(...told(w.push(piece(from, size, over(from)))));
    from += size;
  }
  return got;
};
const RIGHT = ['100', '200', '300', '400', '500', '600', '700', '800', '900'];

describe('streams of samples', () => {
  it('give the same readings whatever the pieces, and hold a window at most', () =>
    fc.assert(
      fc.property(fc.array(fc.integer({ min: 1, max: 900 }), { minLength: 1, maxLength: 6 }), (sizes) => {
        const w = streams();
        assert.deepEqual(
          pieces(w, sizes, RATE, (from) => ({ index: from })),
          RIGHT,
        );
        assert.ok(w.waiting <= 5 * 64 + 1, `${w.waiting}`);
      }),
      { seed: 60, numRuns: 60 },
    ));

  it('a piece delivered twice, or a part of one, is read once', () => {
    const w = streams();
    const got = [0, 0, 640, 320, 640, 1280, 0, 1920, 2560].flatMap((from) => told(w.push(piece(from, 640))));
    assert.deepEqual(got, RIGHT);
  });

  it('a piece lost is told once, and the stream goes on', () => {
    const w = streams();
    const got = [0, 640, 1920, 2560].flatMap((from) => told(w.push(piece(from, 640))));
    assert.deepEqual(got, ['100', '200', '300', 'gapped', '700', '800', '900']);
  });

  it('a pulse that jumps a second is refused where samples are counted; the next piece is the measure', () => {
    const w = streams();
    const push = (from: number, lateUs = 0) =>
      told(w.push(piece(from, 640, { index: from, firstAt: formatInstant(START_US + (from * 1e6) / RATE + lateUs) })));
    assert.deepEqual(push(0), ['100']);
    assert.deepEqual(push(640, 1e6), ['pulse-jump']);
    assert.deepEqual(push(1280, 1e6), ['500']);
    assert.deepEqual(push(1920), ['pulse-jump']);
    assert.deepEqual(push(2560), ['900']);
  });

  it('a source that restarts counts and times anew', () => {
    const w = streams();
    assert.deepEqual(told(w.push(piece(6400, 640, { index: 6400 }))), ['100']);
    assert.deepEqual(told(w.push(piece(640_000, 640, { index: 0 }))), ['gapped', '100']);
    assert.deepEqual(told(w.push(piece(640_640, 320, { index: 640 }))), ['200']);
    const back = START_US - 3600e6;
    assert.deepEqual(told(w.push(piece(0, 640, { index: 0, firstAt: formatInstant(back) }))), ['gapped', '100']);
  });

  it('channels are kept apart, with rates of their own, and the quietest is forgotten', () => {
    const w = streams(2);
    for (const name of ['a', 'b']) assert.deepEqual(told(w.push(piece(0, 200, { terminal: name }))), []);
    assert.deepEqual(told(w.push(piece(200, 440, { terminal: 'a' }))), ['100']);
    w.push(piece(0, 200, { terminal: 'c' }));
    assert.deepEqual(told(w.push(piece(200, 440, { terminal: 'b' }))), []); // its first 200 samples are gone
    assert.ok(w.waiting <= 2 * 641);
    assert.deepEqual(told(w.push(piece(0, 640, { terminal: 'b', rateHz: 6400 }))).includes('gapped'), false);
  });

  it('refuses what is no piece, and forgets nothing for it', () => {
    const w = streams();
    w.push(piece(0, 300));
    assert.deepEqual(told(w.push(piece(300, 20, { firstAt: 'noon' }))), ['schema-format']);
    assert.deepEqual(told(w.push(piece(300, 20, { samples: '***', format: 'int16' }))).length, 1);
    assert.deepEqual(told(w.push(piece(300, 340))), ['100']);
  });

  it('takes documents of any kind without an exception: readings, or refusals with what would be right', () => {
    const odd = fc.oneof(
      fc.anything(),
      fc.constantFrom(-1, 0, 1e-9, 1e12, Number.NaN, '', '2026-02-30T25:00:00Z', null, []),
    );
    const keys = fc.constantFrom(
      'rateHz',
      'firstAt',
      'everyS',
      'samples',
      'format',
      'scale',
      'index',
      'nominalHz',
      'lastAt',
    );
    const changes = fc.array(fc.tuple(keys, odd), { minLength: 1, maxLength: 3 });
    const estimator = waveEstimator(50)!;
    const door = new WaveDoor(50, estimator);
    let refused = 0;
    fc.assert(
      fc.property(changes, fc.boolean(), fc.nat(20), (list, isPiece, k) => {
        const { everyS, ...window } = piece(640 * k, 640);
        const doc = { ...window, ...(isPiece ? { everyS } : {}), ...Object.fromEntries(list) };
        for (const read of door.read(doc)) {
          if (read.ok) continue;
          refused++;
          assert.notEqual(read.problems[0]!.expected, '');
        }
        assert.ok(door.waiting <= 1000 * 641);
      }),
      { seed: 64, numRuns: 1000 },
    );
    assert.ok(refused > 500, `${refused}`);
  });
});
