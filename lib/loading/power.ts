/** Complex power as each phase sees it, at nominal voltages that stand 120 degrees apart. */
import { DEG } from '../angle';

/** kW and kvar, consumption positive. */
export interface Power {
  readonly kW: number;
  readonly kvar: number;
}

/** Phase indices 0, 1, 2 in the order in which they reach their crest. */
export type PhaseIndex = 0 | 1 | 2;

/** P and Q of the phases: [P0, Q0, P1, Q1, P2, Q2]. */
export type PhasePowers = Float64Array;

export const angleOfPhase = (phase: number): number => -120 * phase;

/**
 * How the power of a load between two phases is put down to each. as-drawn: what each phase delivers, V_i conj(I); such a load
 * leaves no current in the neutral. evenly: one half each, as load lists often do; its neutral current is then not right.
 */
export type BetweenPhases = 'as-drawn' | 'evenly';

export interface LoadPower extends Power {
  /** a load on two phases is connected between them, unless it is `toNeutral`: then each carries one half */
  readonly toNeutral: boolean;
}

/**
 * Adds a load to the powers of the phases it is on. On three phases each carries one third.
 * @example addPower(new Float64Array(6), { kW: 30, kvar: 0, toNeutral: false }, [0, 1], 'as-drawn')[1] // ~-8.66
 */
export function addPower(
  to: PhasePowers,
  { kW, kvar, toNeutral }: LoadPower,
  phases: readonly number[],
  rule: BetweenPhases,
): PhasePowers {
  const share = 1 / phases.length;
  // V_i / (V_i - V_j) is 1/2 -+ j / (2 sqrt 3) as V_j lags or leads V_i by 120 degrees.
  const drawn = phases.length === 2 && !toNeutral && rule === 'as-drawn';
  const skew = drawn ? Math.sin(angleOfPhase(phases[1]! - phases[0]!) * DEG) / 3 : 0;
  phases.forEach((phase, k) => {
    const s = k === 0 ? skew : -skew;
    to[2 * phase]! += share * kW - s * kvar;
    to[2 * phase + 1]! += share * kvar + s * kW;
  });
  return to;
}

/**
 * Real and imaginary part of the current in the neutral, amperes: the sum of conj(S / V) of the phases.
 * @param voltageV phase to neutral
 */
export function neutralOf(p: PhasePowers, voltageV: number): readonly [re: number, im: number] {
  let re = 0;
  let im = 0;
  for (let k = 0; k < 3; k++) {
    const cos = Math.cos(angleOfPhase(k) * DEG);
    const sin = Math.sin(angleOfPhase(k) * DEG);
    // conj(P + jQ) turned by the angle of the phase
    re += p[2 * k]! * cos + p[2 * k + 1]! * sin;
    im += p[2 * k]! * sin - p[2 * k + 1]! * cos;
  }
  return [(1000 * re) / voltageV, (1000 * im) / voltageV];
}
