import assert from 'node:assert/strict';
import fc from 'fast-check';
import { classPhasor, classTaper, wavePhasor } from '../../lib';
import { demodulate, hann } from '../../lib/waveform-demodulate';
import { hannResponse, response, withoutImage } from '../../lib/waveform-image';
import { errorsOf, sampled, steady } from '../kit/waves';

const SEED = { seed: 60255, numRuns: 300 };
const near = (a: number, b: number, within: number) => assert.ok(Math.abs(a - b) <= within, `${a} ${b}`);

describe('the mirror image of a real wave', () => {
  it('has the closed form of the Hann taper where the sum of its weights has it', () =>
    fc.assert(
      fc.property(fc.integer({ min: 8, max: 600 }), fc.double({ min: -3.1, max: 3.1, noNaN: true }), (size, turn) =>
        near(hannResponse(size, turn), response(hann(size), turn), 1e-9),
      ),
      SEED,
    ));

  it('is one on the middle of the band, whatever the taper', () => {
    for (const size of [8, 9, 256]) near(hannResponse(size, 0), 1, 1e-15);
    near(hannResponse(9, 2 * Math.PI), 1, 1e-12);
    near(hannResponse(8, 2 * Math.PI), -1, 1e-12); // of an even number of weights the middle lies between two samples
  });

  it('taken off leaves a pure cosine as it is, to the last digits', () => {
    const cosine = fc.record({
      size: fc.integer({ min: 40, max: 400 }),
      from: fc.integer({ min: 0, max: 100 }),
      cycles: fc.double({ min: 1.2, max: 6, noNaN: true }),
      phase: fc.double({ min: -3, max: 3, noNaN: true }),
    });
    fc.assert(
      fc.property(cosine, ({ size, from, cycles, phase }) => {
        const turn = (2 * Math.PI * cycles) / size;
        const samples = Float64Array.from({ length: from + size }, (_, k) => 10 * Math.cos(turn * k + phase));
        const seen = demodulate(samples, from, hann(size), turn);
        const { peak, angle } = withoutImage(seen, turn, from + (size - 1) / 2, hannResponse(size, 2 * turn));
        near(peak, 10, 1e-9);
        near(Math.sin(angle - phase), 0, 1e-9);
      }),
      SEED,
    );
  });

  it('taken off leaves frequency errors far below a millihertz, of one phase, five hertz off nominal', () => {
    for (const f0 of [50, 60])
      for (const off of [-5, -2, 2, 5])
        for (const a of [0, 1, 2, 3]) {
          const signal = steady(f0, off, a);
          assert.ok(errorsOf(signal, wavePhasor(sampled(signal, 0.3))).feHz < 2e-5);
          const p = errorsOf(signal, classPhasor(sampled(signal, 0.3), { class: 'P' }));
          assert.ok(p.feHz < 5e-4, `${p.feHz}`);
        }
  });

  it('a class without a filter has no taper', () => {
    assert.equal(classTaper(60, 3840, { class: 'M', framesPerS: 7 }), undefined);
    assert.equal(classTaper(60, 3840, { class: 'M', framesPerS: 60 })!.weights.length, 2 * 328 + 1);
  });
});
