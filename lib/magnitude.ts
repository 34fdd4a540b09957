/** The voltage as evidence of the connection: between phases it is sqrt 3 times that to neutral. */
import { voltagePu } from './fitness-voltage';
import { magnitudeWeight } from './likelihood';
import type { Terminal } from './network';
import { isPhaseToPhase } from './phase-classes';
import type { Connection, Reading } from './records';

/** Standard uncertainty of ln V: supply within a few percent of nominal, and the instrument. */
const VOLTAGE_REL_SD = 0.05;

/** A voltage further from both expectations says nothing about the connection. */
const FIT_LIMIT_SD = 3;

/**
 * Weight of the measured voltage under each connection, or undefined when no voltage may be used: not in contact, or the
 * nominal voltage not known, or near neither expectation (a single-phase service, say).
 */
export function voltageWeights(
  readings: readonly Reading[],
  terminal: Terminal | undefined,
  connections: readonly Connection[],
): Float64Array | undefined {
  const nominalV = terminal?.nominalV;
  const usable = readings.filter((r) => voltagePu(r, terminal) !== undefined);
  if (!nominalV || usable.length === 0) return undefined;
  const voltageV = usable.reduce((sum, r) => sum + r.voltageV!, 0) / usable.length;
  const expectedV = connections.map((c) => (isPhaseToPhase(c) ? nominalV : nominalV / Math.sqrt(3)));
  const nearest = Math.min(...[nominalV, nominalV / Math.sqrt(3)].map((v) => Math.abs(Math.log(voltageV / v))));
  if (nearest > FIT_LIMIT_SD * VOLTAGE_REL_SD) return undefined;
  return Float64Array.from(expectedV, (v) => magnitudeWeight(voltageV, v, VOLTAGE_REL_SD));
}
