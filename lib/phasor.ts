/** A sinusoid of the common frequency as magnitude and angle (degrees, lead positive). */
import { DEG, wrap180 } from './angle';

export interface Phasor {
  readonly magnitude: number;
  /** [-180, 180); 0 for a zero phasor */
  readonly angleDeg: number;
}

/**
 * A frozen phasor; the angle is wrapped, a negative magnitude is turned by 180 degrees.
 * @throws RangeError when a part is not finite
 * @example phasor(2400, 240) // { magnitude: 2400, angleDeg: -120 }
 */
export function phasor(magnitude: number, angleDeg: number): Phasor {
  if (!Number.isFinite(magnitude) || !Number.isFinite(angleDeg)) {
    throw new RangeError(`phasor: magnitude and angleDeg must be finite, got ${magnitude} and ${angleDeg}`);
  }
  if (magnitude < 0) return phasor(-magnitude, angleDeg + 180);
  return Object.freeze({ magnitude, angleDeg: magnitude === 0 ? 0 : wrap180(angleDeg) });
}

export const real = (p: Phasor): number => p.magnitude * Math.cos(p.angleDeg * DEG);
export const imaginary = (p: Phasor): number => p.magnitude * Math.sin(p.angleDeg * DEG);

/** The phasor re + j im. */
export function fromRectangular(re: number, im: number): Phasor {
  return phasor(Math.hypot(re, im), Math.atan2(im, re) / DEG);
}

/** a + b + ... */
export function sum(...terms: readonly Phasor[]): Phasor {
  return fromRectangular(
    terms.reduce((t, p) => t + real(p), 0),
    terms.reduce((t, p) => t + imaginary(p), 0),
  );
}

/** a - b; across an open point, the voltage of a against b. */
export function minus(a: Phasor, b: Phasor): Phasor {
  return fromRectangular(real(a) - real(b), imaginary(a) - imaginary(b));
}

/** The phasor turned counter-clockwise (made to lead) by an angle. */
export function turn(p: Phasor, byDeg: number): Phasor {
  return phasor(p.magnitude, p.angleDeg + byDeg);
}

/** The phasor with its magnitude multiplied by a real factor; a negative factor reverses it. */
export function scale(p: Phasor, factor: number): Phasor {
  return phasor(p.magnitude * factor, p.angleDeg);
}
