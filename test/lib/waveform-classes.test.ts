import assert from 'node:assert/strict';
import { classPhasor, M_FILTERS, type WaveFilter } from '../../lib';
import { type Errors, errorsOf, type Signal, sampled, steady, worst } from '../kit/waves';

const TAU = 2 * Math.PI;
const angles = [0, 0.7, 1.5, 2.4, 3.1, -2.2, -1.1];
const run = (signal: Signal, filter: WaveFilter, cycles: number, startS = 0.2): Errors =>
  errorsOf(signal, classPhasor(sampled(signal, startS, 64, cycles), filter));

// Limits of IEC/IEEE 60255-118-1 (from memory): 1 % TVE within 2 Hz (P) or Fs/5 up to 5 Hz (M), 1.3 % out of band (M), 3 % modulation.
for (const f0 of [50, 60]) {
  const rates = Object.keys(M_FILTERS[f0]!).map(Number);
  const cyclesOf = (fps: number) => Math.ceil(M_FILTERS[f0]![fps]![1] / 16) + 1;

  describe(`reference filters, ${f0} Hz`, () => {
    it('class P keeps 1 % TVE within 2 Hz and with 1 % of a harmonic, 3 % under modulation', () => {
      const p: WaveFilter = { class: 'P' };
      const off = [-2, -1, 0, 1, 2].flatMap((hz) => angles.map((a) => run(steady(f0, hz, a), p, 5)));
      assert.ok(worst(off).tvePct <= 0.1, JSON.stringify(worst(off)));
      const harmonics = Array.from({ length: 49 }, (_, k) => (s: number) => 0.01 * Math.cos(TAU * (k + 2) * f0 * s));
      assert.ok(worst(harmonics.map((h) => run(steady(f0, 0, 1, h), p, 5))).tvePct <= 1);
      const swing = (s: number) => 0.1 * Math.cos(TAU * 2 * s);
      const am: Signal = { nominalHz: f0, size: (s) => 1 + swing(s), phase: () => 1, deviationHz: () => 0 };
      assert.ok(worst([0, 0.1, 0.2, 0.3, 0.4].map((s0) => run(am, p, 5, s0))).tvePct <= 3);
    });

    for (const fps of rates)
      it(`class M at ${fps} frames a second keeps 1 % within Fs/5 or 5 Hz, 1.3 % out of band`, () => {
        const m: WaveFilter = { class: 'M', framesPerS: fps };
        const most = Math.min(5, fps / 5);
        const off = [-most, 0, most].flatMap((hz) => angles.map((a) => run(steady(f0, hz, a), m, cyclesOf(fps))));
        assert.ok(worst(off).tvePct <= 1, JSON.stringify(worst(off)));
        const tones = [10, f0 - fps / 2, f0 + fps / 2, f0 + fps, 2 * f0].filter(
          (t) => t >= 10 && t <= 2 * f0 && Math.abs(t - f0) >= fps / 2,
        );
        const band = [-0.05 * fps, 0, 0.05 * fps].flatMap((hz) =>
          tones.map((t) =>
            run(
              steady(f0, hz, 1, (s) => 0.1 * Math.cos(TAU * t * s)),
              m,
              cyclesOf(fps),
            ),
          ),
        );
        assert.ok(worst(band).tvePct <= 1.3, JSON.stringify(worst(band)));
      });

    it('refuses a rate without a filter, and what is too short for it', () => {
      const w = sampled(steady(f0, 0, 0), 0);
      const code = (filter: WaveFilter) => {
        const got = classPhasor(w, filter);
        return got.ok ? 'ok' : got.code;
      };
      assert.equal(code({ class: 'P' }), 'ok');
      assert.equal(code({ class: 'M', framesPerS: 7 }), 'bad-rate');
      assert.equal(code({ class: 'M', framesPerS: 10 }), 'too-short');
    });
  });
}
