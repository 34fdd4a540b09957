/** A recorder with a converter and a time pulse: windows of samples of three conductors, as base64 of 16-bit counts. */
import { formatInstant } from '../../lib/instant';
import { terminalOf } from './places';
import type { Chance } from './random';
import { NOMINAL_HZ, SAMPLER, trueAngleDeg, trueVoltageV } from './signals';

export const RATE_HZ = 64 * NOMINAL_HZ;
const WINDOW_SAMPLES = 6 * 64;
/** Volts a count: full scale is a third above the crest. */
const SCALE = (SAMPLER.place.nominalV * Math.sqrt(2 / 3) * 1.33) / 32_767;
/** What a distribution feeder has beside its fundamental, parts of it (common practice, no source). */
const FIFTH = 0.02;
const NOISE = 0.003;

/**
 * One window of each conductor that ends at about `nowUs`. Sample k of the sampler is taken k / rate after the pulse it was started by.
 * @param startUs the pulse, a whole second
 */
export function windowsAt(nowUs: number, startUs: number, chance: Chance): Record<string, unknown>[] {
  const index = Math.floor(((nowUs - startUs) / 1e6) * RATE_HZ) - WINDOW_SAMPLES;
  const firstUs = startUs + (index * 1e6) / RATE_HZ;
  return SAMPLER.place.phases.map((_, conductor) => ({
    terminal: terminalOf(SAMPLER.place, conductor),
    rateHz: RATE_HZ,
    nominalHz: NOMINAL_HZ,
    firstAt: formatInstant(Math.round(firstUs)),
    index,
    format: 'int16',
    scale: SCALE,
    fullScale: 32_767,
    samples: samples(conductor, firstUs, chance),
    voltageIs: 'phase-to-earth',
    clock: { source: 'gnss', errorUs: 1, locked: true },
    coupling: 'contact',
    instrument: { id: SAMPLER.id, selfTest: 'pass' },
    by: 'recorder',
  }));
}

function samples(conductor: number, firstUs: number, chance: Chance): string {
  const peak = (trueVoltageV(SAMPLER.place, conductor) * Math.SQRT2) / SCALE;
  const counts = Buffer.alloc(2 * WINDOW_SAMPLES);
  for (let k = 0; k < WINDOW_SAMPLES; k++) {
    const us = firstUs + (k * 1e6) / RATE_HZ;
    const turns = (NOMINAL_HZ * (us % 1e6)) / 1e6 + trueAngleDeg(SAMPLER.place, conductor, us) / 360;
    const wave = Math.cos(2 * Math.PI * turns) + FIFTH * Math.cos(10 * Math.PI * turns) + NOISE * chance.normal();
    counts.writeInt16LE(Math.round(peak * wave), 2 * k);
  }
  return counts.toString('base64');
}
