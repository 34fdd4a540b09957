/** A Hann window, its sum and its sum of squares. */
export interface Taper {
  readonly weights: Float64Array;
  readonly sum: number;
  readonly squares: number;
}

let kept = taperOf(1);

/** Hann taper of `size` samples, symmetric about its middle; the last one made is kept. */
export function hann(size: number): Taper {
  if (kept.weights.length !== size) kept = taperOf(size);
  return kept;
}

function taperOf(size: number): Taper {
  const weights = Float64Array.from({ length: size }, (_, k) => 1 - Math.cos((2 * Math.PI * (k + 0.5)) / size));
  const sum = weights.reduce((all, x) => all + x, 0);
  return { weights, sum, squares: weights.reduce((all, x) => all + x * x, 0) };
}

/** Peak of the cosine at `turnPerSample` rad and its angle at sample 0, rad, seen through the taper laid at `from`. */
export function demodulate(
  samples: ArrayLike<number>,
  from: number,
  taper: Taper,
  turnPerSample: number,
): { readonly peak: number; readonly angle: number } {
  const { weights, sum } = taper;
  const stepRe = Math.cos(turnPerSample);
  const stepIm = Math.sin(turnPerSample);
  let re = 0;
  let im = 0;
  let c = Math.cos(turnPerSample * from);
  let s = Math.sin(turnPerSample * from);
  for (let k = 0; k < weights.length; k++) {
    const x = (weights[k] as number) * (samples[from + k] as number);
    re += x * c;
    im -= x * s;
    const next = c * stepRe - s * stepIm;
    s = c * stepIm + s * stepRe;
    c = next;
  }
  return { peak: (2 * Math.hypot(re, im)) / sum, angle: Math.atan2(im, re) };
}

/** RMS of what a cosine (peak, angle at sample 0, turn per sample) and a constant leave unexplained. */
export function residualRms(
  samples: ArrayLike<number>,
  from: number,
  size: number,
  wave: { readonly peak: number; readonly angle: number; readonly turnPerSample: number },
): number {
  const stepRe = Math.cos(wave.turnPerSample);
  const stepIm = Math.sin(wave.turnPerSample);
  let c = wave.peak * Math.cos(wave.turnPerSample * from + wave.angle);
  let s = wave.peak * Math.sin(wave.turnPerSample * from + wave.angle);
  let sum = 0;
  let squares = 0;
  for (let k = from; k < from + size; k++) {
    const rest = (samples[k] as number) - c;
    sum += rest;
    squares += rest * rest;
    const next = c * stepRe - s * stepIm;
    s = c * stepIm + s * stepRe;
    c = next;
  }
  return Math.sqrt(Math.max(0, squares - (sum * sum) / size) / (size - 4));
}
