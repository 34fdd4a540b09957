import assert from 'node:assert/strict';
import { SampleStream, wavePhasor } from '../../lib';

// A cosine of nominal frequency that peaks at the UTC second has angle 0 at every instant (IEC/IEEE 60255-118-1, from memory).
const RATE = 3200;
const START_US = 1_772_000_000e6;
const at = (k: number) => 325 * Math.cos((2 * Math.PI * 50 * k) / RATE + 0.4);
const piece = (from: number, size: number) => Float64Array.from({ length: size }, (_, k) => at(from + k));
const usOf = (k: number) => START_US + (k * 1e6) / RATE;

/** Middles of the windows, microseconds after the start, when the samples come in pieces of a size. */
function middles(size: number, total = 2 * RATE): number[] {
  const stream = new SampleStream({ rateHz: RATE, nominalHz: 50, everyS: 0.1 });
  const found: number[] = [];
  for (let from = 0; from < total; from += size) {
    const { windows, jumped } = stream.push(piece(from, Math.min(size, total - from)), usOf(from));
    assert.equal(jumped, false);
    for (const { secondUs, window } of windows) {
      const got = wavePhasor(window);
      assert.ok(got.ok);
      assert.ok(Math.abs(got.angleDeg - (0.4 * 180) / Math.PI) < 0.01, `${got.angleDeg}`);
      found.push(Math.round(secondUs + got.atUs - START_US));
    }
  }
  return found;
}

describe('samples that come in pieces', () => {
  it('windows fall on the tenths of a second, whatever the pieces', () => {
    const right = middles(2 * RATE);
    assert.equal(right.length, 19); // tenths 1 to 19: 0 and 20 lack 50 ms on one side
    for (const [k, us] of right.entries()) assert.ok(Math.abs(us - (k + 1) * 100_000) <= 160, `${us}`);
    for (const size of [1, 7, 64, 321, 1000]) assert.deepEqual(middles(size), right);
  });

  it('no window is passed over or cut twice when the time of the pieces wanders by up to a sample', () => {
    for (const size of [40, 64, 100, 160, 320, 321]) {
      const stream = new SampleStream({ rateHz: RATE, nominalHz: 50, everyS: 0.1 });
      const found: number[] = [];
      for (let from = 0, k = 0; from < 4 * RATE; from += size, k++) {
        const wanderUs = [0, 250, -50, 200, -50][k % 5]!;
        const { windows, jumped } = stream.push(piece(from, size), usOf(from) + wanderUs);
        assert.equal(jumped, false);
        for (const { secondUs, window } of windows) {
          const got = wavePhasor(window);
          assert.ok(got.ok);
          found.push(Math.round((secondUs + got.atUs - START_US) / 100_000));
        }
      }
      assert.deepEqual(
        found,
        Array.from({ length: found.length }, (_, i) => i + 1),
        `pieces of ${size}`,
      );
      assert.ok(found.length >= 38, `${found.length}`);
    }
  });

  it('a jump of the time lets go what was held, and goes on', () => {
    const stream = new SampleStream({ rateHz: RATE, nominalHz: 50, everyS: 0.1 });
    assert.equal(stream.push(piece(0, 300), usOf(0)).jumped, false);
    const later = stream.push(piece(400, 300), usOf(400));
    assert.deepEqual([later.jumped, later.windows.length], [true, 0]);
    const next = stream.push(piece(700, 300), usOf(700));
    assert.deepEqual([next.jumped, next.windows.length], [false, 1]);
  });

  it('a time that is none is a jump and gives no window', () => {
    const stream = new SampleStream({ rateHz: RATE, nominalHz: 50, everyS: 0.1 });
    stream.push(piece(0, 100), usOf(0));
    const got = stream.push(piece(100, 800), Number.NaN);
    assert.deepEqual([got.jumped, got.windows.length], [true, 0]);
    const next = stream.push(piece(900, 900), usOf(900));
    assert.deepEqual([next.jumped, next.windows.length], [false, 2]); // 281.25 to 562.5 ms: the middles 400 and 500 fit
  });
});
