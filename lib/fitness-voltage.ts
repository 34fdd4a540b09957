/** May the voltage of a reading be used, and does it fit the conductor it is said to come from? */
import { EVERY_USE, type Flaw, flaw } from './fitness-flaw';
import type { Terminal } from './network';
import type { Reading } from './records';

/** Below this part of nominal nothing was read that an angle could belong to. Common practice, no source. */
export const NO_VOLTAGE_PU = 0.1;
/**
 * Plausible part of nominal. EN 50160 allows 10 % either way and ANSI C84.1 Range B -8.3 to +5.8 % (from memory);
 * the rest is for loaded feeders and the instrument. 5 % high is normal.
 */
export const PLAUSIBLE_PU = [0.8, 1.15] as const;

/** Voltage of the conductor in parts of nominal, for the way it was read; undefined when that cannot be known. */
export function voltagePu(reading: Reading, terminal: Terminal | undefined): number | undefined {
  if (reading.voltageV === undefined || reading.coupling !== 'contact' || !terminal?.nominalV) return undefined;
  const line = reading.voltageV / terminal.nominalV;
  const phase = line * Math.sqrt(3);
  if (reading.voltageIs === 'phase-to-phase') return line;
  if (reading.voltageIs !== undefined) return phase;
  return Math.abs(Math.log(phase)) < Math.abs(Math.log(line)) ? phase : line;
}

export function voltageFlaw(reading: Reading, terminal: Terminal | undefined): Flaw | undefined {
  if (reading.voltageV === undefined) return undefined;
  if (isVoltageMissing(reading, terminal)) return noVoltage(reading);
  if (reading.coupling !== 'contact') return couplingFlaw(reading);
  const pu = voltagePu(reading, terminal);
  if (pu === undefined) return undefined;
  return pu < PLAUSIBLE_PU[0] || pu > PLAUSIBLE_PU[1] ? implausible(reading, pu) : undefined;
}

/**
 * Whether so little was read that the angle belongs to nothing. Asked also where the coupling is not stated, when it is known what the
 * voltage is between; not of a test point or of air, where small numbers are the rule.
 */
function isVoltageMissing(reading: Reading, terminal: Terminal | undefined): boolean {
  const { coupling, voltageIs } = reading;
  if (coupling === 'test-point' || coupling === 'air') return false;
  if (coupling !== 'contact' && voltageIs === undefined) return false;
  const pu = voltagePu({ ...reading, coupling: 'contact' }, terminal);
  return pu !== undefined && pu < NO_VOLTAGE_PU;
}

function couplingFlaw(reading: Reading): Flaw {
  const how = {
    'test-point': 'a capacitive test point',
    air: 'a reading without contact',
    unknown: 'an unknown coupling',
    contact: 'contact',
  }[reading.coupling ?? 'unknown'];
  const why = `its voltage comes from ${how}, whose ratio is not known`;
  return flaw(['magnitude'], 'magnitude-unusable', why, 'read the voltage in contact with the conductor');
}

function noVoltage(reading: Reading): Flaw {
  const why = `no voltage was read (${reading.voltageV} V), so its angle belongs to nothing; this is not a test for absence of voltage`;
  const settle = 'read again; where voltage is expected, look for an open fuse or a poor contact';
  const forbids = reading.coupling === 'contact' ? (['absolutePhase', 'relative'] as const) : EVERY_USE;
  return flaw(forbids, 'no-voltage-read', why, settle);
}

function implausible(reading: Reading, pu: number): Flaw {
  const why = `${reading.voltageV} V is ${Math.round(pu * 100)} % of nominal, which does not fit the conductor as recorded`;
  const settle = 'read again in firm contact; check the nominal voltage in the record and how the voltage is formed';
  return flaw(['absolutePhase', 'magnitude'], 'voltage-implausible', why, settle);
}
