/** Symmetrical components of three phasors (Fortescue 1918), phases in the order in which they reach their crest. */
import { fromRectangular, type Phasor, scale, sum, turn } from './phasor';

export interface SymmetricalComponents {
  readonly zero: Phasor;
  readonly positive: Phasor;
  readonly negative: Phasor;
}

/**
 * With a = 1 at +120 degrees: zero = (A + B + C) / 3, positive = (A + a B + a^2 C) / 3, negative = (A + a^2 B + a C) / 3.
 * Texts that let B lead A by 120 degrees call positive what is negative here.
 * A component below 1e-12 of the largest magnitude is rounding and comes back as zero.
 * @example symmetricalComponents(phasor(1, 0), phasor(1, -120), phasor(1, 120)).positive.magnitude // 1
 */
export function symmetricalComponents(a: Phasor, b: Phasor, c: Phasor): SymmetricalComponents {
  const noise = 1e-12 * Math.max(a.magnitude, b.magnitude, c.magnitude);
  const third = (...terms: readonly Phasor[]): Phasor => {
    const p = scale(sum(...terms), 1 / 3);
    return p.magnitude < noise ? fromRectangular(0, 0) : p;
  };
  return Object.freeze({
    zero: third(a, b, c),
    positive: third(a, turn(b, 120), turn(c, -120)),
    negative: third(a, turn(b, -120), turn(c, 120)),
  });
}

/**
 * Current in the neutral of a four-wire system: the phasor sum of the phase currents.
 * @example neutralCurrent(phasor(10, 0), phasor(15, -120), phasor(20, 120)).magnitude // ~8.66
 */
export function neutralCurrent(a: Phasor, b: Phasor, c: Phasor): Phasor {
  return sum(a, b, c);
}
