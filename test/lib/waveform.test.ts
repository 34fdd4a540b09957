import assert from 'node:assert/strict';
import { type WaveWindow, wavePhasor } from '../../lib/waveform';

const wave = (hz: number, deg: number): WaveWindow => ({
  samples: Array.from({ length: 321 }, (_, k) => 325 * Math.cos((2 * Math.PI * hz * k) / 3200 + (deg * Math.PI) / 180)),
  rateHz: 3200,
  firstUs: 0,
  nominalHz: 50,
});

describe('phasor from samples', () => {
  // IEC/IEEE 60255-118-1:2018, steady state, class P: f0 +/- 2 Hz, TVE 1 %, FE 0.005 Hz
  for (const hz of [48, 49, 50, 51, 52])
    it(`meets the class P limits at ${hz} Hz`, () => {
      const got = wavePhasor(wave(hz, 30));
      assert.ok(got.ok);
      const err = ((got.angleDeg - 30) * Math.PI) / 180 - 2 * Math.PI * (hz - 50) * 0.05;
      const tve = Math.hypot((got.peak / 325) * Math.cos(err) - 1, (got.peak / 325) * Math.sin(err));
      assert.ok(tve < 0.01, `TVE ${tve}`);
      assert.ok(Math.abs(got.frequencyHz - hz) < 0.005, `${got.frequencyHz}`);
    });

  // the same table: 1 % of one harmonic at a time, TVE 1 %, FE 0.005 Hz; 64 samples a cycle can hold the 2nd to the 31st
  it('meets the class P limits with 1 % of any one harmonic', () => {
    for (let h = 2; h <= 31; h++) {
      const clean = wave(50, 30);
      const got = wavePhasor({
        ...clean,
        samples: clean.samples.map((x, k) => x + 3.25 * Math.cos((2 * Math.PI * h * k) / 64)),
      });
      assert.ok(got.ok);
      const err = ((got.angleDeg - 30) * Math.PI) / 180;
      assert.ok(
        Math.hypot((got.peak / 325) * Math.cos(err) - 1, (got.peak / 325) * Math.sin(err)) < 0.01,
        `TVE, harmonic ${h}`,
      );
      assert.ok(Math.abs(got.frequencyHz - 50) < 0.005, `FE, harmonic ${h}`);
    }
  });

  it('refuses with a reason', () => {
    const good = wave(50, 0);
    const code = (w: WaveWindow) => {
      const got = wavePhasor(w);
      return got.ok ? 'ok' : got.code;
    };
    assert.equal(code({ ...good, rateHz: 1600 }), 'too-few-samples');
    assert.equal(code({ ...good, firstUs: Number.NaN }), 'no-pulse');
    assert.equal(code({ ...good, fullScale: 320 }), 'clipped');
    assert.equal(code({ ...good, samples: good.samples.map((x, k) => (k === 9 ? Number.NaN : x)) }), 'gapped');
    assert.equal(code({ ...good, samples: good.samples.map(() => 0) }), 'no-signal');
  });
});
