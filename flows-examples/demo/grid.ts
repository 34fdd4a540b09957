/** The grid as a whole: a frequency that wanders about nominal, and the angle against UTC that follows from it. */

export const NOMINAL_HZ = 60 as const;

/** Slow swings of the frequency: amplitude in hertz, period in seconds, phase in radians. A quiet afternoon on a large grid. */
const SWINGS = [
  { hz: 0.011, periodS: 47, at: 0.4 },
  { hz: 0.007, periodS: 173, at: 2.1 },
  { hz: 0.004, periodS: 19, at: 5.2 },
] as const;

/** Frequency at an instant, hertz. */
export const frequencyHz = (us: number): number =>
  NOMINAL_HZ + SWINGS.reduce((sum, s) => sum + s.hz * Math.sin(swingAt(s, us)), 0);

/**
 * Angle of the grid against UTC in the synchrophasor sense, degrees: 360 times the integral of (frequency - nominal).
 * Not wrapped; its zero means nothing, only its change does.
 */
export const gridAngleDeg = (us: number): number =>
  SWINGS.reduce((sum, s) => sum - ((360 * s.hz * s.periodS) / (2 * Math.PI)) * Math.cos(swingAt(s, us)), 0);

const swingAt = (s: (typeof SWINGS)[number], us: number): number => s.at + (2 * Math.PI * us) / 1e6 / s.periodS;
