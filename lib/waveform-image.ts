import type { Taper } from './waveform-demodulate';

/** A tapered sum of a cosine: its peak and its angle at sample 0, rad. */
export interface Seen {
  readonly peak: number;
  readonly angle: number;
}

/**
 * Gain of a taper at `turn` rad a sample off the middle of its band: sum of w(k) cos(turn k) over the sum of w, k from the middle.
 * @example response({ weights: Float64Array.of(1, 2, 1), sum: 4, squares: 6 }, Math.PI) // 0
 */
export function response({ weights, sum }: Pick<Taper, 'weights' | 'sum'>, turn: number): number {
  const middle = (weights.length - 1) / 2;
  const step = 2 * Math.cos(turn);
  let [last, now] = [Math.cos(turn * (-middle - 1)), Math.cos(turn * -middle)];
  let gain = 0;
  for (let k = 0; k < weights.length; k++) {
    gain += (weights[k] as number) * now;
    [last, now] = [now, step * now - last];
  }
  return gain / sum;
}

/** `response` of a Hann taper of `size` samples, in closed form. */
export function hannResponse(size: number, turn: number): number {
  const bin = (2 * Math.PI) / size;
  return (dirichlet(size, turn) + (dirichlet(size, turn - bin) + dirichlet(size, turn + bin)) / 2) / size;
}

function dirichlet(size: number, turn: number): number {
  const sine = Math.sin(turn / 2);
  return Math.abs(sine) < 1e-12
    ? size * Math.sign(Math.cos((size - 1) * (turn / 2)))
    : Math.sin((size * turn) / 2) / sine;
}

/**
 * What would have been seen without the mirror image. A real cosine is two turning vectors; the one that turns backward leaks through
 * the taper and makes angle and frequency of one phase ripple at twice the frequency. It is known as soon as the other one is:
 * seen = z + share e^(-2j turn middle) conj(z), which is solved for z.
 * @param turn rad a sample that was demodulated with
 * @param middle sample under the middle of the taper
 * @param share gain of the taper for the image over its gain for the wave
 */
export function withoutImage({ peak, angle }: Seen, turn: number, middle: number, share: number): Seen {
  const mirrored = -2 * turn * middle - angle;
  const re = Math.cos(angle) - share * Math.cos(mirrored);
  const im = Math.sin(angle) - share * Math.sin(mirrored);
  return { peak: (peak * Math.hypot(re, im)) / (1 - share * share), angle: Math.atan2(im, re) };
}
